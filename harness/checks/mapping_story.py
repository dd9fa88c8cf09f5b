"""Verdict and sentence for each channel of a mapping check.

Runs in which everything is as it should be cost nothing; the words are looked for only where
the evidence is not clean.
"""

from __future__ import annotations

import numpy as np

from harness.checks.liveness import is_improbably_still, sameness
from harness.checks.mapping_evidence import (
    Evidence,
    is_clean,
    ladder_tilt,
    nearest_cell,
    tolerance_of,
)
from harness.checks.statements import volts_text
from harness.descriptions.setup import Setup
from harness.metrology.decision import Verdict

# A channel follows a cell when it moves by more than this share of the cell's change.
FOLLOW_RATIO = 0.5


def mapping_statements(
    evidence: Evidence, setup: Setup, tested: tuple[int, ...]
) -> tuple[tuple[Verdict, ...], tuple[str, ...]]:
    """Verdict and reason a (run, tested cell), runs outermost."""
    clean = is_clean(evidence, setup, tested)
    verdicts: list[Verdict] = []
    reasons: list[str] = []
    for r in range(len(evidence.runs)):
        if clean[r].all():
            verdicts += [Verdict.PASS] * len(tested)
            reasons += [""] * len(tested)
            continue
        story = _RunStory(evidence, r, setup, tested)
        for i in range(len(tested)):
            verdict, reason = (Verdict.PASS, "") if clean[r, i] else story.of(i)
            verdicts.append(verdict)
            reasons.append(reason)
    return tuple(verdicts), tuple(reasons)


class _RunStory:
    """Words for one run in which not everything is as it should be."""

    def __init__(self, evidence: Evidence, r: int, setup: Setup, tested: tuple[int, ...]) -> None:
        self._e, self._r, self._setup, self._tested = evidence, r, setup, tested
        own = np.array(tested, dtype=np.int64) - 1
        tilt = ladder_tilt(evidence, setup, own)[r]
        self._response = evidence.response[r] - tilt
        self._tolerance = tolerance_of(evidence)[r]
        self._moved = evidence.moved[r]
        self._nearest = nearest_cell(evidence, setup)[r]
        with np.errstate(invalid="ignore", divide="ignore"):
            self._ratio = self._response / self._moved[:, None]

    def of(self, i: int) -> tuple[Verdict, str]:
        """Verdict and reason for the channel of tested cell number i."""
        cell = self._tested[i]
        for state in (
            self._unknown,
            self._unsettled,
            self._wrong_cell,
            self._own_move,
            self._others,
            self._wrong_value,
            self._too_still,
            self._unseen,
        ):
            found = state(i, cell)
            if found is not None:
                return found
        # Only what is not clean gets here: without a story it is still no pass.
        return Verdict.CANNOT_DECIDE, f"what channel {cell} did is not what a good one does"

    def _unknown(self, i: int, cell: int) -> tuple[Verdict, str] | None:
        e, r = self._e, self._r
        if np.isnan(e.base_reference[r, cell - 1]):
            return Verdict.NOT_RUN, f"cell {cell} has no reference reading at step 0"
        if e.step[r, i] < 0:
            return Verdict.NOT_RUN, f"cell {cell} was not moved"
        if np.isnan(self._moved[i]):
            return Verdict.NOT_RUN, f"cell {cell} has no reference reading where it was moved"
        if e.lost[r, cell - 1]:
            visits = int(e.lost[r, cell - 1])
            return Verdict.NOT_RUN, f"channel {cell} sent no value at {visits} of the points"
        return None

    def _unsettled(self, i: int, cell: int) -> tuple[Verdict, str] | None:
        if not self._e.has_settled[self._r, i]:
            return Verdict.CANNOT_DECIDE, f"did not settle when cell {cell} was moved"
        if abs(self._moved[i]) <= 2 * self._tolerance[i].max():
            moved = volts_text(self._moved[i])
            return (
                Verdict.CANNOT_DECIDE,
                f"bench: cell {cell} moved by {moved} only, too little to tell",
            )
        return None

    def followed(self, channel: int) -> tuple[int, ...]:
        """The tested cells that `channel` follows, either way up."""
        ratio = np.abs(self._ratio[:, channel - 1])
        return tuple(c for c, x in zip(self._tested, ratio, strict=True) if x > FOLLOW_RATIO)

    def _wrong_cell(self, i: int, cell: int) -> tuple[Verdict, str] | None:
        followed = self.followed(cell)
        if followed == (cell,):
            return None
        if not followed:
            return Verdict.FAIL, f"channel {cell} did not change: frozen or stale"
        if cell in followed:
            return Verdict.FAIL, f"channel {cell} follows cells {_listed(followed)}"
        if len(followed) > 1:
            return Verdict.FAIL, f"channel {cell} follows cells {_listed(followed)}, not its own"
        other = followed[0]
        back = self.followed(other)
        if back == (cell,):
            low, high = sorted((cell, other))
            return Verdict.FAIL, f"channels {low} and {high} are swapped"
        if other in back:
            return Verdict.FAIL, f"channel {cell} follows cell {other}: a copy of channel {other}"
        return Verdict.FAIL, f"channel {cell} follows cell {other}"

    def _own_move(self, i: int, cell: int) -> tuple[Verdict, str] | None:
        response, moved = self._response[i, cell - 1], self._moved[i]
        if abs(response - moved) <= self._tolerance[i, cell - 1]:
            return None
        if response * moved < 0:
            return Verdict.FAIL, f"channel {cell} moves against its cell: reversed sign"
        return (
            Verdict.FAIL,
            f"channel {cell} moved by {volts_text(response)} when its cell moved by "
            f"{volts_text(moved)}",
        )

    def _others(self, i: int, cell: int) -> tuple[Verdict, str] | None:
        excess = np.abs(self._response[:, cell - 1]) - self._tolerance[:, cell - 1]
        excess[i] = -np.inf
        worst = int(np.nanargmax(excess))
        if not excess[worst] > 0:
            return None
        return (
            Verdict.FAIL,
            f"channel {cell} moved by {volts_text(self._response[worst, cell - 1])} when cell "
            f"{self._tested[worst]} moved by {volts_text(self._moved[worst])}",
        )

    def _wrong_value(self, i: int, cell: int) -> tuple[Verdict, str] | None:
        nearest = int(self._nearest[cell - 1]) + 1
        if nearest == cell:
            return None
        return (
            Verdict.FAIL,
            f"channel {cell} follows its cell but reads nearest to cell {nearest}",
        )

    def _too_still(self, i: int, cell: int) -> tuple[Verdict, str] | None:
        frames = int(self._e.still[self._r, cell - 1])
        if not is_improbably_still(np.array([frames]), self._setup)[0]:
            return None
        return Verdict.CONDITIONAL_PASS, sameness(frames, self._setup)

    def _unseen(self, i: int, cell: int) -> tuple[Verdict, str] | None:
        """Moves of other cells in which this channel was not seen."""
        unseen = np.flatnonzero(np.isnan(self._response[:, cell - 1]))
        if not len(unseen):
            return None
        other = self._tested[int(unseen[0])]
        return (
            Verdict.NOT_RUN,
            f"cell {other} was not moved, so whether channel {cell} follows it is not known",
        )


def _listed(cells: tuple[int, ...]) -> str:
    return " and ".join((", ".join(map(str, cells[:-1])), str(cells[-1])))
