"""Observations: raw values with time, source, quantity and channel, as plain values.

An observation is written the moment it exists and never changed. `Observation` is one value
on its way to the record; `Observations` is the columnar form that judging works on, where a
thousand runs lie in the same arrays. Units are fixed by the quantity and are SI (degrees
Celsius for temperature).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
LabelValue = float | int | str


class Source(IntEnum):
    """Who said so. Set-points are `SETPOINT`, never mixed with what was measured."""

    BOARD = 1
    REFERENCE = 2
    SUPPLY_READBACK = 3
    SETPOINT = 4
    OPERATOR = 5
    AMBIENT = 6


class Quantity(IntEnum):
    """What was observed."""

    CELL_VOLTAGE = 1
    STACK_VOLTAGE = 2
    TEMPERATURE = 3
    RESISTANCE = 4
    CURRENT = 5
    THERMISTOR_OPEN = 6
    THERMISTOR_SHORT = 7
    RELATIVE_HUMIDITY = 8
    SUPPLY_VOLTAGE = 9


UNITS: Mapping[Quantity, str] = {
    Quantity.CELL_VOLTAGE: "V",
    Quantity.STACK_VOLTAGE: "V",
    Quantity.TEMPERATURE: "degC",
    Quantity.RESISTANCE: "ohm",
    Quantity.CURRENT: "A",
    Quantity.THERMISTOR_OPEN: "1",
    Quantity.THERMISTOR_SHORT: "1",
    Quantity.RELATIVE_HUMIDITY: "%",
    Quantity.SUPPLY_VOLTAGE: "V",
}


@dataclass(frozen=True, slots=True)
class Observation:
    """One raw value.

    `channel` counts from 1 (cell k, thermistor k, supply channel k); 0 where there is none.
    `sequence` counts the samples of one source, quantity and channel within a point from 0.
    `monotonic` and `wall` are seconds; `raw` is the text or hex that the value came from.
    A value the source could not give (overload, invalid marker) is NaN, with `raw` saying why.
    """

    source: Source
    quantity: Quantity
    channel: int
    sequence: int
    value: float
    wall: float
    monotonic: float
    raw: str = ""


@dataclass(frozen=True)
class PointRecord:
    """One whole acquired point: what is written in one transaction.

    `check` is the index of the check in the plan, `step` the index of the point in the check,
    `label` says what the point is (nominal_volts, direction, moved_cell, ...).
    """

    check: int
    step: int
    label: Mapping[str, LabelValue]
    observations: tuple[Observation, ...]
    began_monotonic: float = 0.0
    ended_monotonic: float = 0.0
    did_settle: bool = True


@dataclass(frozen=True)
class Acquired:
    """What one measurement gave; `did_settle` is False when the time-out came first."""

    observations: tuple[Observation, ...]
    did_settle: bool = True


@dataclass(frozen=True)
class Observations:
    """Columns of equal length, one row a value; rows may come from many runs of one setup.

    `labels[(check, step)]` is the point's label, common to all runs; points that did not
    settle are in `unsettled` as (run, check, step).
    """

    run: IntArray
    check: IntArray
    step: IntArray
    source: IntArray
    quantity: IntArray
    channel: IntArray
    sequence: IntArray
    value: FloatArray
    monotonic: FloatArray
    labels: Mapping[tuple[int, int], Mapping[str, LabelValue]] = field(default_factory=dict)
    unsettled: frozenset[tuple[int, int, int]] = frozenset()

    def __len__(self) -> int:
        return len(self.value)

    def where(self, mask: NDArray[np.bool_]) -> Observations:
        """The rows where `mask` is true."""
        return Observations(
            run=self.run[mask],
            check=self.check[mask],
            step=self.step[mask],
            source=self.source[mask],
            quantity=self.quantity[mask],
            channel=self.channel[mask],
            sequence=self.sequence[mask],
            value=self.value[mask],
            monotonic=self.monotonic[mask],
            labels=self.labels,
            unsettled=self.unsettled,
        )

    def of(
        self,
        *,
        check: int | None = None,
        source: Source | None = None,
        quantity: Quantity | None = None,
    ) -> Observations:
        """The rows of one check, source and quantity; `None` means any."""
        mask = np.ones(len(self), dtype=bool)
        if check is not None:
            mask &= self.check == check
        if source is not None:
            mask &= self.source == source
        if quantity is not None:
            mask &= self.quantity == quantity
        return self.where(mask)


def tabulate(points: Iterable[PointRecord], run: int = 0) -> Observations:
    """Columns from the points of one run.

    Parameters
    ----------
    points : the acquired points, in any order.
    run : the number given to the run in the `run` column.
    """
    points = list(points)
    rows = [(p.check, p.step, o) for p in points for o in p.observations]

    def whole(values: Iterable[int]) -> IntArray:
        return np.fromiter(values, dtype=np.int64, count=len(rows))

    return Observations(
        run=np.full(len(rows), run, dtype=np.int64),
        check=whole(check for check, _, _ in rows),
        step=whole(step for _, step, _ in rows),
        source=whole(int(o.source) for _, _, o in rows),
        quantity=whole(int(o.quantity) for _, _, o in rows),
        channel=whole(o.channel for _, _, o in rows),
        sequence=whole(o.sequence for _, _, o in rows),
        value=np.array([o.value for _, _, o in rows], dtype=np.float64),
        monotonic=np.array([o.monotonic for _, _, o in rows], dtype=np.float64),
        labels={(p.check, p.step): dict(p.label) for p in points},
        unsettled=frozenset((run, p.check, p.step) for p in points if not p.did_settle),
    )
