"""Observations arranged for judging: arrays over (visit, channel, sample).

A visit is one point of one run, so a thousand runs lie in the same arrays and nothing in a
check loops over them. This module only arranges and counts; what a missing value means is
decided by the checks.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from harness.observation import (
    FloatArray,
    IntArray,
    LabelValue,
    Observations,
    Quantity,
    Source,
)

BoolArray = NDArray[np.bool_]

# Keys are looked up in a table when that table is not much larger than the observations
# themselves; a binary search for each row is four times slower.
_SPARSEST_TABLE = 4


@dataclass(frozen=True)
class Visits:
    """The (run, step) pairs of one check, ordered by run, then step; p of them.

    run, step : shape (p,). run_index : shape (p,), place of the run in `runs`.
    did_settle : shape (p,). labels : the label of each visit's point, {} when it has none.
    """

    check: int
    run: IntArray
    step: IntArray
    runs: IntArray
    run_index: IntArray
    did_settle: BoolArray
    labels: tuple[Mapping[str, LabelValue], ...]

    def __len__(self) -> int:
        return len(self.run)

    def numbers(self, key: str, otherwise: float = float("nan")) -> FloatArray:
        """The label's number under `key` for each visit, shape (p,), or `otherwise`."""
        of_step = {
            step: _number(self.labels[first].get(key), otherwise)
            for step, first in zip(*np.unique(self.step, return_index=True), strict=True)
        }
        return np.array([of_step[step] for step in self.step.tolist()], dtype=np.float64)


@dataclass(frozen=True)
class Samples:
    """Values of one source and quantity; axes are visit, channel, sample.

    values : shape (p, c, m), NaN where there is no sample and where the sample has no value.
    is_present : shape (p, c, m), true where a sample was observed, whatever its value.
    monotonic : shape (p, c, m), seconds, NaN where absent.
    """

    values: FloatArray
    is_present: BoolArray
    monotonic: FloatArray

    @property
    def count(self) -> IntArray:
        """Samples observed, shape (p, c)."""
        found: IntArray = self.is_present.sum(axis=2)
        return found

    @property
    def missing(self) -> IntArray:
        """Samples observed that have no value (overload, invalid marker), shape (p, c)."""
        found: IntArray = (self.is_present & np.isnan(self.values)).sum(axis=2)
        return found

    @property
    def is_usable(self) -> BoolArray:
        """Whether there is a sample and every sample has a value, shape (p, c)."""
        usable: BoolArray = (self.count > 0) & (self.missing == 0)
        return usable

    def mean(self) -> FloatArray:
        """Mean of the samples, shape (p, c); NaN where not `is_usable`."""
        total = np.where(self.is_present, self.values, 0.0).sum(axis=2)
        usable = self.is_usable
        return np.where(usable, total / np.maximum(self.count, 1), np.nan)


def visits_of(observations: Observations, check: int) -> Visits:
    """The visits of check `check` in `observations`.

    A point that has a label but no observation in any run is no visit.
    """
    mine = observations.check == check
    run, step = observations.run[mine], observations.step[mine]
    if not len(run):
        empty = np.zeros(0, dtype=np.int64)
        return Visits(check, empty, empty, empty, empty, np.zeros(0, dtype=bool), ())
    span = int(step.max()) + 1
    keys = _distinct(run * span + step)
    runs, run_index = np.unique(keys // span, return_inverse=True)
    steps = keys % span
    labels = {int(s): observations.labels.get((check, int(s)), {}) for s in np.unique(steps)}
    settled = np.ones(len(keys), dtype=bool)
    if observations.unsettled:
        pairs = zip((keys // span).tolist(), steps.tolist(), strict=True)
        settled = np.array([(r, check, s) not in observations.unsettled for r, s in pairs])
    return Visits(
        check=check,
        run=keys // span,
        step=steps,
        runs=runs,
        run_index=run_index.astype(np.int64),
        did_settle=settled,
        labels=tuple(labels[s] for s in steps.tolist()),
    )


def samples_of(
    observations: Observations,
    visits: Visits,
    source: Source,
    quantity: Quantity,
    channels: Sequence[int],
) -> Samples:
    """Arrange the observations of one source and quantity over `visits` and `channels`.

    Samples stand in order of their sequence number; rows that share one (a table measured
    elsewhere need not number them) stand in order of appearance.
    """
    rows = np.flatnonzero(
        (observations.check == visits.check)
        & (observations.source == source)
        & (observations.quantity == quantity)
    )
    column = _positions(observations.channel[rows], channels)
    rows, column = rows[column >= 0], column[column >= 0]
    shape = (len(visits), len(channels))
    if not len(rows):
        nothing = np.full((*shape, 0), np.nan)
        return Samples(nothing, np.zeros((*shape, 0), dtype=bool), nothing)
    group = _visit_index(observations, visits, rows) * len(channels) + column
    place = _places(group, observations.sequence[rows], len(visits) * len(channels))
    most = int(place.max()) + 1
    slot = group * most + place
    values = np.full(len(visits) * len(channels) * most, np.nan)
    present = np.zeros(len(values), dtype=bool)
    monotonic = np.full(len(values), np.nan)
    values[slot] = observations.value[rows]
    monotonic[slot] = observations.monotonic[rows]
    present[slot] = True
    full = (*shape, most)
    return Samples(values.reshape(full), present.reshape(full), monotonic.reshape(full))


def _places(group: IntArray, sequence: IntArray, groups: int) -> IntArray:
    """Each row's place within its group: its sequence number when these are 0, 1, 2, ..."""
    count = np.bincount(group, minlength=groups)
    most = int(count.max())
    in_range = (sequence >= 0) & (sequence < most)
    if in_range.all():
        seen = np.bincount(group * most + sequence, minlength=groups * most)
        if int(seen.max()) <= 1:
            return sequence
    order = np.lexsort((np.arange(len(group)), sequence, group))
    starts = np.concatenate(([0], np.cumsum(count)[:-1]))
    place = np.empty(len(group), dtype=np.int64)
    place[order] = np.arange(len(group)) - starts[group[order]]
    return place


def _visit_index(observations: Observations, visits: Visits, rows: IntArray) -> IntArray:
    span = int(visits.step.max()) + 1
    keys = visits.run * span + visits.step
    wanted = observations.run[rows] * span + observations.step[rows]
    lowest = int(keys[0])
    width = int(keys[-1]) - lowest + 1
    if width > _SPARSEST_TABLE * len(rows) + 1024:
        return np.searchsorted(keys, wanted).astype(np.int64)
    table = np.full(width, -1, dtype=np.int64)
    table[keys - lowest] = np.arange(len(keys))
    found: IntArray = table[wanted - lowest]
    return found


def _distinct(keys: IntArray) -> IntArray:
    """Sorted distinct values, without sorting all rows when they lie close together."""
    lowest = int(keys.min())
    width = int(keys.max()) - lowest + 1
    if width > _SPARSEST_TABLE * len(keys) + 1024:
        return np.unique(keys)
    return np.flatnonzero(np.bincount(keys - lowest, minlength=width)) + lowest


def _positions(channel: IntArray, channels: Sequence[int]) -> IntArray:
    """Place of each channel number in `channels`, -1 where it is not among them."""
    if not len(channel):
        return np.zeros(0, dtype=np.int64)
    highest = max(int(channel.max()), max(channels, default=0))
    table = np.full(highest + 2, -1, dtype=np.int64)
    table[list(channels)] = np.arange(len(channels))
    found: IntArray = table[np.where(channel < 0, highest + 1, channel)]
    return found


def _number(value: LabelValue | None, otherwise: float) -> float:
    return float(value) if isinstance(value, (int, float)) else otherwise
