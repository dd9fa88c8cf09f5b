"""The reference readings: which meter, range and column stand behind them, and the bracket.

Pure look-ups and arrangement; the contributions built on them are in `reference_budget`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from harness.checks.samples import BoolArray, Samples
from harness.descriptions.instrument import (
    AccuracyColumn,
    AgeColumn,
    DecadeModel,
    Integration,
    MeterModel,
    MeterRange,
)
from harness.descriptions.setup import Setup
from harness.observation import FloatArray, IntArray

_COLUMNS = tuple(AgeColumn)


@dataclass(frozen=True)
class MeterOnBench:
    """The bench's meter with the circumstances that its specification asks about.

    name : its name in the bench file.
    """

    name: str
    model: MeterModel
    column: AgeColumn
    ambient_celsius: float


@dataclass(frozen=True)
class DecadeOnBench:
    """The bench's resistance source; name is the one in the bench file."""

    name: str
    model: DecadeModel


def meter_of(setup: Setup) -> MeterOnBench | None:
    """The meter of the bench, None when it has none."""
    for name, entry in setup.bench.instruments.items():
        model = setup.models.get(name)
        if isinstance(model, MeterModel):
            return MeterOnBench(name, model, entry.column, setup.bench.ambient.celsius)
    return None


def decade_of(setup: Setup) -> DecadeOnBench | None:
    """The resistance source of the bench, None when it has none."""
    for name in setup.bench.instruments:
        model = setup.models.get(name)
        if isinstance(model, DecadeModel):
            return DecadeOnBench(name, model)
    return None


def range_index(ranges: Sequence[MeterRange], values: FloatArray) -> IntArray:
    """Index into `ranges` of the range in which each value is read, shape of `values`.

    The smallest range that holds the value, the largest when none does: the rule by which the
    meter driver chooses. NaN is given the largest.
    """
    order = np.argsort([r.range_value for r in ranges])
    limits = np.array([r.range_value for r in ranges])[order]
    place = np.searchsorted(limits, np.abs(values), side="left")
    found: IntArray = order[np.minimum(place, len(ranges) - 1)].astype(np.int64)
    return found


def column_of(meter_range: MeterRange, wanted: AgeColumn) -> tuple[AgeColumn, AccuracyColumn]:
    """The accuracy column for a calibration age: the wanted one or the next longer stated.

    The longest stated when none is long enough. (Next longer column: common practice.)
    """
    stated = [c for c in _COLUMNS if c in meter_range.accuracy]
    fitting = [c for c in stated if _COLUMNS.index(c) >= _COLUMNS.index(wanted)]
    chosen = (fitting or stated[-1:])[0]
    return chosen, meter_range.accuracy[chosen]


def integration_of(model: MeterModel, power_line_cycles: float) -> Integration:
    """The table row of an integration time: the longest that is no longer, else the shortest."""
    rows = sorted(model.integration, key=lambda row: row.power_line_cycles)
    fitting = [row for row in rows if row.power_line_cycles <= power_line_cycles]
    return fitting[-1] if fitting else rows[0]


@dataclass(frozen=True)
class Scan:
    """Reference readings of one or more cells at each visit, the bracket told apart.

    mean : shape (p, c), all readings of a cell; NaN where there is none or one is missing.
    count : readings behind it, shape (p, c).
    is_bracket : shape (p, c, m), readings of the first cell that were taken again at the end.
    drift : shape (p,), their mean less that of its first readings; 0 where not taken again.
    is_bracketed : shape (p,).
    """

    mean: FloatArray
    count: IntArray
    is_bracket: BoolArray
    drift: FloatArray
    is_bracketed: BoolArray


def scan_of(reference: Samples) -> Scan:
    """Arrange reference readings and find the bracket by the times of the readings.

    The bracket is what was read at the first cell after every other cell.
    """
    mean, count = reference.mean(), reference.count
    nothing = np.zeros(len(mean), dtype=bool)
    if reference.values.shape[2] == 0 or reference.values.shape[1] < 2:
        none = np.zeros(reference.values.shape, dtype=bool)
        return Scan(mean, count, none, np.zeros(len(mean)), nothing)
    times = np.where(reference.is_present, reference.monotonic, np.inf)
    began = times.min(axis=2)
    first = np.argmin(began, axis=1)
    is_first = np.arange(times.shape[1])[None, :] == first[:, None]
    ended = np.where(reference.is_present, reference.monotonic, -np.inf).max(axis=2)
    others_end = np.where(is_first, -np.inf, ended).max(axis=1)
    has_others = np.isfinite(others_end)
    again = (
        is_first[:, :, None]
        & reference.is_present
        & (reference.monotonic > others_end[:, None, None])
        & has_others[:, None, None]
    )
    at_first = np.arange(len(first)), first
    before_values = np.where(
        again[at_first] | ~reference.is_present[at_first], np.nan, reference.values[at_first]
    )
    again_values = np.where(again[at_first], reference.values[at_first], np.nan)
    is_bracketed = again[at_first].any(axis=1) & (~np.isnan(before_values)).any(axis=1)
    drift = np.where(is_bracketed, _row_mean(again_values) - _row_mean(before_values), 0.0)
    return Scan(mean, count, again, np.nan_to_num(drift), is_bracketed)


def _row_mean(values: FloatArray) -> FloatArray:
    """Mean of each row without its NaNs, NaN for a row of NaNs."""
    known = ~np.isnan(values)
    count = known.sum(axis=1)
    total = np.where(known, values, 0.0).sum(axis=1)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)
