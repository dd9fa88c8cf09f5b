"""What a check is: planned points, `acquire` (does I/O), `judge` (pure).

A check plans its points from the setup alone, so that duration, progress, rehearsal and
resumption all follow from the same list. `acquire` visits one point and returns what was
observed; it decides nothing. `judge` turns stored observations of any number of runs into
findings, with no bench; it never asks who measured them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from harness.bench.capabilities import Capability
from harness.descriptions.setup import Setup
from harness.finding import Findings
from harness.observation import Acquired as Acquired
from harness.observation import LabelValue, Observations, PointRecord
from harness.timebase import Clock


@dataclass(frozen=True)
class PlannedPoint:
    """One point to visit, in order.

    cell_volts : target of every cell, shape (cells,).
    thermistor_ohms : resistance at each thermistor by number; math.inf is open, 0.0 short;
        a thermistor not named is left open.
    cells : cells whose reference is measured here; with_stack : the stack's too.
    with_bracket : read the first of these again at the end; only liveness can do without.
    thermistor : the thermistor measured here, or None.
    frames : board frames that the plan's uncertainty demands at this point.
    readings : meter readings of each path; watch_seconds : longest to watch for a reaction.
    """

    step: int
    label: Mapping[str, LabelValue]
    cell_volts: tuple[float, ...]
    cells: tuple[int, ...] = ()
    with_stack: bool = False
    with_bracket: bool = True
    thermistor_ohms: Mapping[int, float] | None = None
    thermistor: int | None = None
    frames: int = 5
    readings: int = 1
    power_line_cycles: float = 1.0
    watch_seconds: float = 0.0


class Bench(Protocol):
    """The bench as checks see it; all waiting, settling and safety is behind it."""

    @property
    def setup(self) -> Setup:
        """The declared setup."""
        ...

    @property
    def clock(self) -> Clock:
        """The clock that stamps observations."""
        ...

    def set_cells(self, volts: Sequence[float]) -> None:
        """Ramp all cells to `volts` (shape (cells,)), verified by read-back."""
        ...

    def measure_cells(
        self,
        cells: Sequence[int],
        *,
        frames: int,
        readings: int,
        power_line_cycles: float,
        with_stack: bool = False,
        with_bracket: bool = True,
    ) -> Acquired:
        """Settle, then measure with the meter at `cells` while board frames come in.

        Observations: REFERENCE CELL_VOLTAGE of `cells`, REFERENCE STACK_VOLTAGE with
        `with_stack`, with `with_bracket` the first cell (the stack where there is none)
        again after the frames, and from each of at least `frames` frames BOARD values of
        every field.
        """
        ...

    def confirm_source(self) -> None:
        """See that the source still holds what was set; called after each point.

        Raises
        ------
        SafetyError : a channel is in constant current, sags, or has tripped.
        """
        ...

    def set_thermistors(self, ohms: Mapping[int, float]) -> None:
        """Put the decade at these values on these thermistors, leave all others open."""
        ...

    def measure_thermistor(
        self, thermistor: int, *, frames: int, readings: int, power_line_cycles: float
    ) -> Acquired:
        """Settle, then read the injected resistance and the board's temperatures.

        Observations: REFERENCE RESISTANCE (from the meter when the bench has a path to the
        decade, else SETPOINT RESISTANCE read back from the decade) and from each frame BOARD
        TEMPERATURE of every thermistor, THERMISTOR_OPEN and THERMISTOR_SHORT where the
        board has such flags.
        """
        ...

    def watch_thermistors(self, seconds: float) -> Acquired:
        """All board frames of the next `seconds`, unsettled ones included, for reaction times.

        Observations: BOARD TEMPERATURE, THERMISTOR_OPEN, THERMISTOR_SHORT; `monotonic` of
        each; one SETPOINT RESISTANCE per thermistor (NaN raw "open") stamped with the moment
        of the last change.
        """
        ...


class Check(Protocol):
    """One kind of check. `settings` of the plan are found at `setup.plan.check[index]`."""

    kind: str

    def needs(self, setup: Setup, index: int) -> frozenset[Capability]:
        """The abilities a bench must have for this check."""
        ...

    def points(self, setup: Setup, index: int) -> tuple[PlannedPoint, ...]:
        """The points in visiting order; pure."""
        ...

    def acquire(self, bench: Bench, point: PlannedPoint, index: int) -> PointRecord:
        """Visit one point. Does I/O through `bench`; raises what the bench raises."""
        ...

    def judge(self, observations: Observations, setup: Setup, index: int) -> Findings:
        """Findings from the observations of check `index`, of any number of runs; pure."""
        ...


OPEN_CIRCUIT_OHMS = math.inf
