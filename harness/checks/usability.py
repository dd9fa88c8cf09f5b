"""When a value must not be judged: missing, overloaded, not settled. Each with its sentence."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from harness.bench.capabilities import Capability, capabilities
from harness.checks.samples import Samples, Visits
from harness.checks.statements import Override, volts_text
from harness.descriptions.setup import Setup
from harness.metrology.decision import Verdict
from harness.observation import FloatArray

# Supplies, leads and ladder rungs together stay well inside these; common practice, no source.
PLAUSIBLE_RATIO = 0.05
PLAUSIBLE_VOLTS = 0.05


def board_override(board: Samples, channels: Sequence[int], word: str) -> Override:
    """`NOT_RUN` where the board sent no usable value; visits x channels flat.

    Parameters
    ----------
    word : what a channel is called: "channel", "thermistor".
    """
    count, missing = board.count.reshape(-1), board.missing.reshape(-1)

    def reason(i: int) -> str:
        name = f"{word} {channels[i % len(channels)]}"
        if not count[i]:
            return f"the board sent no value for {name}"
        return f"{name} had no value in {missing[i]} of {count[i]} frames"

    return Override(~board.is_usable.reshape(-1), Verdict.NOT_RUN, reason)


def reference_override(reference: Samples, channels: Sequence[int], word: str) -> Override:
    """`NOT_RUN` where there is no usable reference; `word` as "cell", "thermistor"."""
    taken, lost = reference.count.reshape(-1), reference.missing.reshape(-1)

    def reason(i: int) -> str:
        name = f"{word} {channels[i % len(channels)]}"
        if not taken[i]:
            return f"no reference reading at {name}"
        return f"the meter had no number at {name} (overload) in {lost[i]} of {taken[i]} readings"

    return Override(~reference.is_usable.reshape(-1), Verdict.NOT_RUN, reason)


def implausible_reference(
    nominal: FloatArray, reference: FloatArray, cells: Sequence[int], setup: Setup
) -> Override:
    """`CANNOT_DECIDE` where the meter is nowhere near what the supply was set to.

    A relay that did not close or a broken lead must not fail a board. The set-point is a
    plausibility check and never the reference, so the bound is wide. Where no supply drives
    the cells nothing is known of what they should be.

    Parameters
    ----------
    nominal, reference : volts, flat over visits x cells; NaN where unknown.
    """
    is_driven = Capability.CELL_SOURCE in capabilities(
        setup.bench, setup.board.cells, len(setup.board.thermistors)
    )
    bound = PLAUSIBLE_VOLTS + PLAUSIBLE_RATIO * np.abs(nominal)

    def reason(i: int) -> str:
        return (
            f"bench: the meter has {volts_text(float(reference[i]))} at cell "
            f"{cells[i % len(cells)]} where {volts_text(float(nominal[i]))} were set: look for a "
            "relay that does not close, a broken lead, a wrong path in the bench file"
        )

    return Override(
        is_driven & (np.abs(reference - nominal) > bound), Verdict.CANNOT_DECIDE, reason
    )


def unsettled_overrides(visits: Visits, columns: int) -> Override:
    """`CANNOT_DECIDE` where a visit did not settle, for `columns` findings a visit."""
    return Override(
        np.repeat(~visits.did_settle, columns),
        Verdict.CANNOT_DECIDE,
        lambda _: "did not settle",
    )
