"""When a value must not be judged: missing, overloaded, not settled. Each with its sentence."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from harness.checks.samples import Samples, Visits
from harness.checks.statements import Override
from harness.metrology.decision import Verdict


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


def unsettled_overrides(visits: Visits, columns: int) -> Override:
    """`CANNOT_DECIDE` where a visit did not settle, for `columns` findings a visit."""
    return Override(
        np.repeat(~visits.did_settle, columns),
        Verdict.CANNOT_DECIDE,
        lambda _: "did not settle",
    )
