"""A bench that answers with made-up observations and a clock that moves when it measures."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from harness.descriptions.setup import Setup
from harness.observation import Acquired, Observation, PointRecord, Quantity, Source

SECONDS_A_POINT = 2.0


@dataclass
class HandClock:
    """A clock that stands still but for `sleep`."""

    seconds: float = 100.0

    def now(self) -> float:
        return self.seconds

    def wall(self) -> float:
        return 1.7724e9 + self.seconds

    def sleep(self, seconds: float) -> None:
        self.seconds += max(0.0, seconds)

    def real_seconds(self, seconds: float) -> float:
        return seconds

    def real_timeout(self, seconds: float) -> float:
        return seconds


@dataclass(frozen=True)
class Statistics:
    """What a board link counted."""

    good: int = 7


def scatter(i: int) -> float:
    """Volts that make no frame like its neighbours: a board that never scatters is frozen."""
    return (i * 7 % 5 - 2) * 0.0001


@dataclass
class FakeBench:
    """Board and reference agree but for 3 mV; `fails_at` point raises `error`."""

    setup: Setup
    clock: HandClock = field(default_factory=HandClock)
    error: BaseException | None = None
    fails_at: int = -1
    seconds_a_point: float = SECONDS_A_POINT
    volts: Sequence[float] = ()
    measured: int = 0
    confirmed: int = 0
    calls: list[str] = field(default_factory=list)

    def identities(self) -> Mapping[str, str]:
        return {"meter": "invented,meter,1,2"}

    def link_statistics(self) -> Statistics:
        return Statistics()

    def set_cells(self, volts: Sequence[float]) -> None:
        self.volts = volts

    def set_thermistors(self, ohms: Mapping[int, float]) -> None:
        self.calls.append(f"set_thermistors {dict(ohms)}")

    def confirm_source(self) -> None:
        self.confirmed += 1

    def measure_cells(self, cells: Sequence[int], **effort: Any) -> Acquired:
        meter = (
            self._seen(Source.REFERENCE, Quantity.CELL_VOLTAGE, cell, i, self.volts[cell - 1])
            for cell in cells
            for i in range(effort["readings"])
        )
        board = (
            self._seen(Source.BOARD, Quantity.CELL_VOLTAGE, cell, i, volts + 0.003 + scatter(i))
            for cell, volts in enumerate(self.volts, 1)
            for i in range(effort["frames"])
        )
        return self._acquired((*meter, *board))

    def measure_thermistor(self, thermistor: int, **effort: Any) -> Acquired:
        return self._acquired(
            self._seen(Source.BOARD, Quantity.TEMPERATURE, thermistor, i, 25.0)
            for i in range(effort["frames"])
        )

    def watch_thermistors(self, seconds: float) -> Acquired:
        return self._acquired(
            self._seen(Source.BOARD, Quantity.TEMPERATURE, 1, i, math.nan) for i in range(2)
        )

    def _acquired(self, observations: Any) -> Acquired:
        if self.measured == self.fails_at and self.error is not None:
            raise self.error
        self.measured += 1
        self.clock.sleep(self.seconds_a_point)
        return Acquired(tuple(observations))

    def _seen(
        self, source: Source, quantity: Quantity, channel: int, sequence: int, value: float
    ) -> Observation:
        at = self.clock.now() + sequence / 10
        return Observation(source, quantity, channel, sequence, value, at, at)


@dataclass
class PointList:
    """Keeps points in a list."""

    points: list[PointRecord] = field(default_factory=list)

    def point(self, record: PointRecord) -> None:
        self.points.append(record)


@contextmanager
def opened(bench: FakeBench) -> Iterator[FakeBench]:
    """As `open_workbench` does it: tells when the way in and the way out are taken."""
    bench.calls.append("opened")
    try:
        yield bench
    finally:
        bench.calls.append("proved off")
