"""Samples for the tests of records: a small invented setup, points, a clock set by hand."""

from __future__ import annotations

from dataclasses import dataclass

from harness.descriptions.bench import BenchDescription, InstrumentEntry, Wiring
from harness.descriptions.board import (
    BoardDescription,
    BoardLimits,
    CellInputs,
    FrameField,
    SerialPort,
    TextFrame,
    ThermistorInput,
)
from harness.descriptions.curve import BetaForm, CurveDescription
from harness.descriptions.plan import (
    CellAccuracySettings,
    MappingSettings,
    PlanDescription,
    ThermistorAccuracySettings,
)
from harness.descriptions.setup import Setup
from harness.observation import Observation, PointRecord, Quantity, Source

WALL_AT_ZERO = 1_772_370_000.0


@dataclass
class HandClock:
    """A clock whose monotonic time is set by hand."""

    monotonic: float = 100.0

    def now(self) -> float:
        return self.monotonic

    def wall(self) -> float:
        return WALL_AT_ZERO + self.monotonic

    def sleep(self, seconds: float) -> None:
        self.monotonic += seconds

    def real_seconds(self, seconds: float) -> float:
        return seconds

    def real_timeout(self, seconds: float) -> float:
        return seconds


def small_setup() -> Setup:
    """A two-cell board with two thermistors on a bench of one meter; all invented."""
    curve = CurveDescription(
        name="10k", curve=BetaForm(form="beta", reference_ohms=10000.0, beta_kelvin=3435.0)
    )
    thermistors = tuple(ThermistorInput(name=name, curve="10k.toml") for name in ("bow", "stern"))
    return Setup(
        bench=BenchDescription(
            name="galley table",
            instruments={
                "dmm": InstrumentEntry(role="meter", resource="TCPIP::x::SOCKET", model="m.toml")
            },
            wiring=Wiring(topology="series", cells=2, supply="none", channels=(1, 2)),
        ),
        board=BoardDescription(
            name="Heron",
            revision="B",
            cells=2,
            refresh_seconds=0.25,
            limits=BoardLimits(
                cell_error_volts=0.005,
                stack_error_volts=0.02,
                noise_volts=0.002,
                thermistor_error_celsius=1.0,
            ),
            cell_inputs=CellInputs(lowest_volts=2.0, highest_volts=4.0, resolution_volts=0.001),
            thermistors=thermistors,
            serial=SerialPort(port="/dev/null"),
            frame=TextFrame(form="csv", fields=(FrameField(quantity="cell_voltage"),)),
        ),
        plan=PlanDescription(
            name="arrival",
            check=(
                MappingSettings(kind="mapping"),
                CellAccuracySettings(kind="cell-accuracy", points_volts=(2.5, 2.8, 3.2, 3.3, 3.6)),
                ThermistorAccuracySettings(
                    kind="thermistor-accuracy", points_celsius=(0.0, 10.0, 20.0, 30.0, 40.0)
                ),
            ),
        ),
        models={},
        curves=(curve, curve),
    )


def small_point(step: int = 0, check: int = 1, count: int = 6) -> PointRecord:
    """A point whose observations are all different; the last one has no value."""
    seen = [
        Observation(
            source=Source.BOARD if i % 2 else Source.REFERENCE,
            quantity=Quantity.CELL_VOLTAGE,
            channel=1 + i % 2,
            sequence=i // 2,
            value=3.3 + step * 0.1 + i * 1e-4 / 3,
            wall=WALL_AT_ZERO + 100.0 + i / 7,
            monotonic=100.0 + i / 7,
            raw=f"cell {i} µ",
        )
        for i in range(count - 1)
    ]
    nothing = Observation(
        Source.REFERENCE, Quantity.CELL_VOLTAGE, 1, 9, float("nan"), 101.0, 101.0, "9.9E37"
    )
    return PointRecord(
        check=check,
        step=step,
        label={"nominal_volts": 2.5 + step / 10, "direction": "up"},
        observations=(*seen, nothing),
        began_monotonic=90.0 + step,
        ended_monotonic=90.5 + step,
        did_settle=step != 2,
    )
