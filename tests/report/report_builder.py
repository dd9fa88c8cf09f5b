"""An invented run for report tests: board Heron, 12 cells, 7 points up and down, two faults.

Cell 5 reads 0.34 % high; thermistor 2 has a pull-up resistor 10 % too large. Numbers come from a
seeded generator, so every test sees the same run.
"""

from __future__ import annotations

import datetime
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from pydantic import TypeAdapter

from harness.descriptions.bench import BenchDescription
from harness.descriptions.board import BoardDescription
from harness.descriptions.curve import CurveDescription
from harness.descriptions.instrument import InstrumentModel
from harness.descriptions.plan import PlanDescription
from harness.descriptions.setup import Setup
from harness.finding import CheckResult, Finding, Findings, Judgement, no_numbers
from harness.metrology.budget import Budget, Contribution, Shape, combine
from harness.metrology.decision import Verdict
from harness.observation import (
    Observation,
    Observations,
    PointRecord,
    Quantity,
    Source,
    tabulate,
)
from harness.report.document import ReportEvent, ReportInput, ReportInstrument

ROOT = Path(__file__).parent.parent.parent
FIXTURES = ROOT / "fixtures"
LIBRARY = ROOT / "harness" / "descriptions" / "library"

CELLS = 12
POINTS_VOLTS = (2.50, 2.80, 3.00, 3.20, 3.35, 3.50, 3.65)
POINTS_CELSIUS = (-10.0, 0.0, 15.0, 25.0, 40.0, 60.0)
CELL_LIMIT_VOLTS = 0.005
FAULTY_CELL, FAULTY_GAIN = 5, 0.0034
FAULTY_THERMISTOR = 2
RESOLUTION_VOLTS = 0.001


def _load(kind: Any, path: Path) -> Any:
    return TypeAdapter(kind).validate_python(tomllib.loads(path.read_text("utf-8")))


def setup(bench: str = "narrowboat-ladder") -> Setup:
    """The narrowboat bench, board Heron and the acceptance plan, from the fixtures."""
    described = _load(BenchDescription, FIXTURES / "benches" / f"{bench}.toml")
    curve = _load(CurveDescription, FIXTURES / "curves" / "ntc-10k-beta.toml")
    return Setup(
        bench=described,
        board=_load(BoardDescription, FIXTURES / "boards" / "heron.toml"),
        plan=_load(PlanDescription, FIXTURES / "plans" / "acceptance.toml"),
        models={
            name: _load(InstrumentModel, LIBRARY / f"{entry.model}.toml")
            for name, entry in described.instruments.items()
        },
        curves=(curve, curve),
    )


def verdict_of(error: float, expanded: float, limit: float) -> Verdict:
    """The four-way statement with guard band U."""
    if abs(error) > limit + expanded:
        return Verdict.FAIL
    if expanded > limit:
        return Verdict.CANNOT_DECIDE
    if abs(error) > limit:
        return Verdict.CONDITIONAL_FAIL
    return Verdict.PASS if abs(error) <= limit - expanded else Verdict.CONDITIONAL_PASS


def voltage_budget(reference: np.ndarray, scale: float = 1.0) -> Budget:
    """Contributions in the sizes of a six-digit meter and a board with steps of 1 mV."""
    n = len(reference)

    def part(
        name: str, u: Any, shape: Shape, nu: float, is_common: bool, advice: str, source: str
    ) -> Contribution:
        return Contribution(
            name,
            scale * np.broadcast_to(np.asarray(u, dtype=float), (n,)).copy(),
            shape,
            np.full(n, nu),
            is_common,
            advice,
            source,
        )

    inf = float("inf")
    rectangular, student = Shape.RECTANGULAR, Shape.STUDENT
    return Budget(
        (
            part(
                "meter accuracy",
                (35e-6 * reference + 5e-5) / np.sqrt(3),
                rectangular,
                inf,
                True,
                "use the 24 h column after a fresh calibration",
                "1 year column of the meter's specification",
            ),
            part(
                "meter resolution",
                1e-6 / np.sqrt(12),
                rectangular,
                inf,
                False,
                "integrate over more power-line cycles",
                "meter model, 1 power-line cycle",
            ),
            part(
                "board repeatability",
                2.2e-4,
                student,
                4,
                False,
                "take more frames a point",
                "scatter of 5 frames",
            ),
            part(
                "board resolution",
                1.1e-4,
                rectangular,
                inf,
                False,
                "a board that reports in finer steps",
                "step 1 mV, noise 0.5 mV",
            ),
            part(
                "lead and contact drop",
                7e-8,
                rectangular,
                inf,
                False,
                "shorter leads, four-wire taps",
                "1 µA through 0.07 ohm",
            ),
            part(
                "relay thermal EMF",
                1e-6 / np.sqrt(3),
                rectangular,
                inf,
                False,
                "latching relays, time to cool",
                "relay card model",
            ),
            part(
                "settling residual",
                5e-5,
                rectangular,
                inf,
                False,
                "a smaller settling budget in the plan",
                "slope left at the end of settling",
            ),
        )
    )


def measured(
    *,
    check: str,
    check_index: int,
    subject: str,
    unit: str,
    channel: np.ndarray,
    step: np.ndarray,
    point: tuple[str, ...],
    nominal: np.ndarray,
    reference: np.ndarray,
    error: np.ndarray,
    limit: np.ndarray,
    budget: Budget,
    reason: tuple[str, ...] | None = None,
) -> Findings:
    """Findings with uncertainty, decided by the guard-band rule."""
    combined = combine(budget)
    expanded = combined.expanded_uncertainty
    verdict = tuple(map(verdict_of, error.tolist(), expanded.tolist(), limit.tolist()))
    return Findings(
        check=check,
        check_index=check_index,
        subject=subject,
        unit=unit,
        run=np.zeros(len(error), dtype=np.int64),
        step=step,
        channel=channel,
        point=point,
        nominal=nominal,
        indication=reference + error,
        reference=reference,
        error=error,
        limit=limit,
        standard_uncertainty=combined.standard_uncertainty,
        coverage_factor=combined.coverage_factor,
        expanded_uncertainty=expanded,
        degrees_of_freedom=combined.degrees_of_freedom,
        channel_to_channel_uncertainty=combined.channel_to_channel_expanded,
        test_uncertainty_ratio=limit / expanded,
        false_accept_probability=np.where(np.abs(error) > limit, np.nan, 0.003),
        false_reject_probability=np.where(np.abs(error) > limit, 0.0001, np.nan),
        verdict=verdict,
        reason=reason or ("",) * len(error),
        budget=budget,
    )


def cell_accuracy(check_index: int = 1, *, has_fault: bool = True, scale: float = 1.0) -> Findings:
    """12 cells x 7 points, up then down."""
    random = np.random.default_rng(12)
    gain = random.normal(0.0, 2.5e-4, CELLS)
    offset = random.normal(0.0, 4e-4, CELLS)
    if has_fault:
        gain[FAULTY_CELL - 1] = FAULTY_GAIN
    visited = [(v, d) for d, vs in (("up", POINTS_VOLTS), ("down", POINTS_VOLTS[::-1])) for v in vs]
    nominal = np.repeat([v for v, _ in visited], CELLS)
    channel = np.tile(np.arange(1, CELLS + 1), len(visited))
    reference = nominal + random.normal(0.0, 4e-4, len(nominal))
    error = (
        gain[channel - 1] * reference + offset[channel - 1] + random.normal(0, 2e-4, len(nominal))
    )
    return measured(
        check="cell-accuracy",
        check_index=check_index,
        subject="cell",
        unit="V",
        channel=channel,
        step=np.repeat(np.arange(len(visited)), CELLS),
        point=tuple(f"{v:.3f} V {d}" for v, d in visited for _ in range(CELLS)),
        nominal=nominal,
        reference=reference,
        error=error,
        limit=np.full(len(nominal), CELL_LIMIT_VOLTS),
        budget=voltage_budget(reference, scale),
    )


def stack_total(check_index: int = 2) -> Findings:
    """Three stack voltages."""
    nominal = 12 * np.array([2.5, 3.3, 3.65])
    reference = nominal + 0.0011
    return measured(
        check="stack-total",
        check_index=check_index,
        subject="stack",
        unit="V",
        channel=np.zeros(3, dtype=np.int64),
        step=np.arange(3),
        point=tuple(f"{v:.3f} V" for v in nominal),
        nominal=nominal,
        reference=reference,
        error=np.array([0.004, 0.011, 0.013]),
        limit=np.full(3, 0.04),
        budget=voltage_budget(reference, 5.0),
    )


def noise(check_index: int = 3) -> Findings:
    """Standard deviations of 64 frames."""
    deviation = np.random.default_rng(5).normal(5.5e-4, 3e-5, CELLS)
    budget = Budget(
        (
            Contribution(
                "scatter of the standard deviation",
                deviation / np.sqrt(2 * 63),
                Shape.NORMAL,
                np.full(CELLS, 63.0),
                False,
                "take more frames",
                "64 frames",
            ),
        )
    )
    return measured(
        check="noise",
        check_index=check_index,
        subject="cell",
        unit="V",
        channel=np.arange(1, CELLS + 1),
        step=np.zeros(CELLS, dtype=np.int64),
        point=("3.300 V",) * CELLS,
        nominal=np.full(CELLS, 3.3),
        reference=np.zeros(CELLS),
        error=deviation,
        limit=np.full(CELLS, 0.001),
        budget=budget,
    )


def thermistor_accuracy(check_index: int = 4) -> Findings:
    """Two thermistors x 6 temperatures; the second grows wrong with heat."""
    celsius = np.tile(POINTS_CELSIUS, 2)
    channel = np.repeat([1, 2], len(POINTS_CELSIUS))
    error = np.where(channel == 1, 0.12, 2.2 + 0.028 * celsius)
    n = len(celsius)
    budget = Budget(
        (
            Contribution(
                "resistance meter accuracy",
                np.full(n, 0.02),
                Shape.RECTANGULAR,
                np.full(n, np.inf),
                True,
                "use the 24 h column",
                "1 year column",
            ),
            Contribution(
                "board resolution",
                np.full(n, 0.029),
                Shape.RECTANGULAR,
                np.full(n, np.inf),
                False,
                "finer steps",
                "step 0.1 K",
            ),
            Contribution(
                "board repeatability",
                np.full(n, 0.03),
                Shape.STUDENT,
                np.full(n, 4.0),
                False,
                "take more frames",
                "scatter of 5 frames",
            ),
        )
    )
    return measured(
        check="thermistor-accuracy",
        check_index=check_index,
        subject="thermistor",
        unit="degC",
        channel=channel,
        step=np.arange(n),
        point=tuple(f"{t:.1f} degC" for t in celsius),
        nominal=celsius,
        reference=celsius + 0.01,
        error=error,
        limit=np.where((celsius >= 0) & (celsius <= 60), 1.5, 3.0),
        budget=budget,
    )


def thermistor_faults(check_index: int = 5) -> Findings:
    """Yes-or-no findings: open and short of two thermistors, one not told."""
    verdict = (Verdict.PASS, Verdict.PASS, Verdict.FAIL, Verdict.PASS)
    reason = ("", "", "thermistor 2 open reads -58.8 degC with no flag", "")
    return attributes(
        check="thermistor-open-short",
        check_index=check_index,
        subject="thermistor",
        unit="s",
        channel=(1, 1, 2, 2),
        point=("open", "short", "open", "short"),
        verdict=verdict,
        reason=reason,
    )


def attributes(
    *,
    check: str,
    check_index: int,
    subject: str,
    unit: str,
    channel: tuple[int, ...],
    point: tuple[str, ...],
    verdict: tuple[Verdict, ...],
    reason: tuple[str, ...],
) -> Findings:
    """Findings without numbers."""
    n = len(verdict)
    none = no_numbers(n)
    return Findings(
        check=check,
        check_index=check_index,
        subject=subject,
        unit=unit,
        run=np.zeros(n, dtype=np.int64),
        step=np.arange(n),
        channel=np.array(channel),
        point=point,
        nominal=none,
        indication=none,
        reference=none,
        error=none,
        limit=none,
        standard_uncertainty=none,
        coverage_factor=none,
        expanded_uncertainty=none,
        degrees_of_freedom=none,
        channel_to_channel_uncertainty=none,
        test_uncertainty_ratio=none,
        false_accept_probability=none,
        false_reject_probability=none,
        verdict=verdict,
        reason=reason,
    )


def one_finding(**changes: Any) -> Finding:
    """Cell 5 at 3.300 V, 12.13 mV high with U 0.61 mV: a fail, unless changed."""
    base = Finding(
        check="cell-accuracy",
        check_index=1,
        run=0,
        step=3,
        channel=5,
        subject="cell",
        point="3.300 V up",
        nominal=3.3,
        indication=3.31253,
        reference=3.3004,
        error=0.01213,
        limit=0.005,
        unit="V",
        standard_uncertainty=0.0003,
        coverage_factor=2.03,
        expanded_uncertainty=0.00061,
        degrees_of_freedom=30.0,
        channel_to_channel_uncertainty=0.0005,
        test_uncertainty_ratio=8.2,
        false_accept_probability=0.0,
        false_reject_probability=0.0,
        verdict=Verdict.FAIL,
        reason="",
    )
    return replace(base, **changes)


def judgement(**changes: Any) -> Judgement:
    """Mapping not run on the ladder, two faults, the rest in order."""
    checks = (
        CheckResult("mapping", 0, False, None, "this bench lacks individual cell set-points"),
        *(
            CheckResult(f.check, f.check_index, False, f)
            for f in (
                cell_accuracy(),
                stack_total(),
                noise(),
                thermistor_accuracy(),
                thermistor_faults(),
            )
        ),
    )
    return replace(Judgement(checks), **changes)


def passing_judgement() -> Judgement:
    """Only cell accuracy, all inside."""
    findings = cell_accuracy(0, has_fault=False)
    return Judgement((CheckResult("cell-accuracy", 0, False, findings),))


def observations(check_index: int = 3) -> Observations:
    """64 steady frames of 12 cells, as codes of the board."""
    random = np.random.default_rng(3)
    volts = np.round(random.normal(3.3, 5.5e-4, (64, CELLS)) / RESOLUTION_VOLTS) * RESOLUTION_VOLTS
    rows = tuple(
        Observation(
            Source.BOARD,
            Quantity.CELL_VOLTAGE,
            cell + 1,
            frame,
            float(volts[frame, cell]),
            1000.0 + frame * 0.05,
            frame * 0.05,
        )
        for frame in range(64)
        for cell in range(CELLS)
    )
    return tabulate([PointRecord(check_index, 0, {"nominal_volts": 3.3}, rows)])


def instruments() -> tuple[ReportInstrument, ...]:
    """A meter with a certificate, a supply that is overdue, two without calibration."""
    day = datetime.date
    return (
        ReportInstrument(
            "supply",
            "supply",
            "Generic,Supply-1,S-0012,1.0",
            "S-0012",
            day(2025, 3, 2),
            day(2026, 3, 2),
            "1y",
            "",
        ),
        ReportInstrument(
            "meter",
            "meter",
            "Generic,Meter-6,M-0001,1.0",
            "M-0001",
            day(2026, 3, 2),
            day(2027, 3, 2),
            "1y",
            "K-2026-0317",
        ),
        ReportInstrument(
            "decade", "decade", "Generic,Decade,D-0001,1.0", "D-0001", None, None, "1y", ""
        ),
        ReportInstrument(
            "relays", "switch", "Generic,Switch-64,R-0001,1.0", "R-0001", None, None, "1y", ""
        ),
    )


def report_input(**changes: Any) -> ReportInput:
    """The whole run, unless changed."""
    base = ReportInput(
        run_id="3f2a9c1e-5b7d-4e8f-9a0b-1c2d3e4f5a6b",
        started=datetime.datetime(
            2026, 11, 25, 14, 5, 9, tzinfo=datetime.timezone(datetime.timedelta(hours=1))
        ),
        kind="rehearsed",
        is_simulated=True,
        serial_number="H-0007",
        operator="demo operator",
        station="bench 1",
        software_version="0.1.0",
        setup_sha256="9b74c9897bac770ffc029102a200c5de9b74c9897bac770ffc029102a200c5de",
        judged_sha256="9b74c9897bac770ffc029102a200c5de9b74c9897bac770ffc029102a200c5de",
        state="finished",
        end_reason="",
        notes="",
        instruments=instruments(),
        events=(
            ReportEvent(0.0, "note", "outputs programmed: 0 V, current limit 0.1 A"),
            ReportEvent(21.37, "retry", "board: 1 frame with a bad check, left out"),
        ),
        setup=setup(),
        judgement=judgement(),
        observations=observations(),
    )
    return replace(base, **changes)
