"""Thermistor accuracy: the board's temperature against an injected resistance.

The expected temperature is what the measured resistance means on the curve that the board
claims to use; the nominal one is never the reference. (Acceptance check "accuracy at five
resistances": common practice, no source.)
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import groupby

import numpy as np

from harness.bench.capabilities import Capability
from harness.checks.check import Bench, PlannedPoint
from harness.checks.limits import limits_of
from harness.checks.samples import Samples, Visits, samples_of, visits_of
from harness.checks.statements import Override, Place, error_findings
from harness.checks.thermistor_budget import Injection, injection_budget
from harness.checks.usability import unsettled_overrides
from harness.checks.visiting import SETTLING_CELSIUS, every_thermistor, recorded
from harness.descriptions.curve_values import curve_value
from harness.descriptions.plan import ThermistorAccuracySettings
from harness.descriptions.setup import Setup
from harness.errors import DescriptionError, MisuseError
from harness.finding import Findings
from harness.metrology.decision import Verdict
from harness.observation import (
    FloatArray,
    IntArray,
    Observations,
    PointRecord,
    Quantity,
    Source,
)


@dataclass(frozen=True)
class _Stop:
    """One resistance at one thermistor, to be visited."""

    thermistor: int
    celsius: float
    ohms: float


class ThermistorAccuracyCheck:
    """The `thermistor-accuracy` kind."""

    kind = "thermistor-accuracy"

    def needs(self, setup: Setup, index: int) -> frozenset[Capability]:
        """A supply to power the board and a resistance source at every thermistor."""
        return frozenset({Capability.CELL_SOURCE, Capability.DECADE_AT_THERMISTOR})

    def points(self, setup: Setup, index: int) -> tuple[PlannedPoint, ...]:
        """From the highest resistance down; what shares one is visited together.

        Raises
        ------
        DescriptionError : a point outside the thermistor's curve.
        """
        settings, effort = _settings(setup, index), setup.plan.effort
        return tuple(
            PlannedPoint(
                step=step,
                label={
                    "thermistor": stop.thermistor,
                    "nominal_celsius": stop.celsius,
                    "nominal_ohms": stop.ohms,
                    "power_line_cycles": effort.power_line_cycles,
                    SETTLING_CELSIUS: setup.plan.settling.budget_celsius,
                },
                cell_volts=(settings.cell_volts,) * setup.board.cells,
                thermistor_ohms={stop.thermistor: stop.ohms},
                thermistor=stop.thermistor,
                frames=effort.frames,
                readings=effort.readings,
                power_line_cycles=effort.power_line_cycles,
            )
            for step, stop in enumerate(_route(setup, settings))
        )

    def acquire(self, bench: Bench, point: PlannedPoint, index: int) -> PointRecord:
        """Power the board, inject the resistance, measure it and the board's temperatures."""
        began = bench.clock.now()
        if point.thermistor is None or point.thermistor_ohms is None:
            raise MisuseError(f"{self.kind}: expected a point with a thermistor, got {point!r}")
        bench.set_cells(point.cell_volts)
        bench.set_thermistors(point.thermistor_ohms)
        acquired = bench.measure_thermistor(
            point.thermistor,
            frames=point.frames,
            readings=point.readings,
            power_line_cycles=point.power_line_cycles,
        )
        return recorded(bench, point, index, began, acquired)

    def judge(self, observations: Observations, setup: Setup, index: int) -> Findings:
        """One finding a run and visited resistance."""
        _settings(setup, index)
        visits = visits_of(observations, index)
        injection = _injection(observations, setup, visits)
        nominal = visits.numbers("nominal_celsius")
        judged_at = np.where(np.isnan(nominal), injection.celsius, nominal)
        limit = limits_of(setup).thermistor_limit_celsius(np.nan_to_num(judged_at))
        place = Place(
            check=self.kind,
            check_index=index,
            subject="thermistor",
            unit="degC",
            run=visits.run,
            step=visits.step,
            channel=injection.thermistor,
            point=[f"{celsius:.1f} degC" for celsius in judged_at.tolist()],
            nominal=nominal,
        )
        return error_findings(
            place,
            indication=injection.board.mean()[:, 0],
            reference=injection.celsius,
            limit=limit,
            budget=injection_budget(injection, setup),
            decision=setup.plan.decision,
            overrides=_overrides(injection, visits),
        )


def _settings(setup: Setup, index: int) -> ThermistorAccuracySettings:
    settings = setup.plan.check[index]
    if not isinstance(settings, ThermistorAccuracySettings):
        raise MisuseError(f"check {index}: expected thermistor-accuracy, got {settings.kind}")
    return settings


def _route(setup: Setup, settings: ThermistorAccuracySettings) -> tuple[_Stop, ...]:
    """All stops, from the highest resistance down, so that the decade moves once for each.

    Stops at one resistance (thermistors of one curve) follow each other, every second
    group the other way round, so that relays need not change between groups either.
    """
    thermistors = every_thermistor(setup, settings.thermistors)
    stops = [_stop(setup, k, celsius) for celsius in settings.points_celsius for k in thermistors]
    stops.sort(key=lambda stop: (-stop.ohms, stop.thermistor))
    route: list[_Stop] = []
    for place, (_, group) in enumerate(groupby(stops, key=lambda stop: stop.ohms)):
        together = list(group)
        route += together[::-1] if place % 2 else together
    return tuple(route)


def _stop(setup: Setup, thermistor: int, celsius: float) -> _Stop:
    curve = setup.curves[thermistor - 1]
    ohms = float(curve_value(curve).resistance(celsius))
    if not math.isfinite(ohms):
        raise DescriptionError(
            f"points_celsius: expected temperatures on the curve {curve.name} of thermistor "
            f"{thermistor}, got {celsius:g} degC"
        )
    return _Stop(thermistor, celsius, round(ohms, 3))


def _injection(observations: Observations, setup: Setup, visits: Visits) -> Injection:
    count = len(setup.board.thermistors)
    numbers = tuple(range(1, count + 1))
    thermistor = np.nan_to_num(visits.numbers("thermistor"), nan=1.0).astype(np.int64)

    def own(source: Source, quantity: Quantity) -> Samples:
        return _own_column(
            samples_of(observations, visits, source, quantity, numbers), thermistor - 1
        )

    measured = own(Source.REFERENCE, Quantity.RESISTANCE)
    by_meter = bool(measured.count.any())
    reference = measured if by_meter else own(Source.SETPOINT, Quantity.RESISTANCE)
    ohms = reference.mean()[:, 0]
    nominal = visits.numbers("nominal_ohms")
    return Injection(
        visits=visits,
        thermistor=thermistor,
        board=own(Source.BOARD, Quantity.TEMPERATURE),
        reference=reference,
        ohms=ohms,
        nominal_ohms=np.where(np.isnan(nominal), ohms, nominal),
        celsius=_by_curve(setup, thermistor, ohms, "temperature"),
        kelvin_per_ohm=_by_curve(setup, thermistor, ohms, "sensitivity"),
        is_by_meter=by_meter,
    )


def _own_column(samples: Samples, column: IntArray) -> Samples:
    """The samples of each visit's own thermistor, shape (p, 1, m)."""
    rows = np.arange(len(column))
    return replace(
        samples,
        values=samples.values[rows, column][:, None, :],
        is_present=samples.is_present[rows, column][:, None, :],
        monotonic=samples.monotonic[rows, column][:, None, :],
    )


def _by_curve(setup: Setup, thermistor: IntArray, ohms: FloatArray, what: str) -> FloatArray:
    """Temperature or sensitivity of each visit's resistance on its thermistor's curve."""
    found = np.full(len(ohms), np.nan)
    for number in np.unique(thermistor):
        mine = thermistor == number
        curve = curve_value(setup.curves[number - 1])
        by = curve.temperature if what == "temperature" else curve.sensitivity
        found[mine] = by(ohms[mine])
    return found


def _overrides(injection: Injection, visits: Visits) -> tuple[Override, ...]:
    board, reference = injection.board, injection.reference
    frames, lost = board.count[:, 0], board.missing[:, 0]

    def board_reason(i: int) -> str:
        name = f"thermistor {injection.thermistor[i]}"
        if not frames[i]:
            return f"the board sent no temperature of {name}"
        return f"{name} had no value in {lost[i]} of {frames[i]} frames"

    def reference_reason(i: int) -> str:
        name = f"thermistor {injection.thermistor[i]}"
        if not reference.count[i, 0]:
            return f"no reading of the resistance at {name}"
        if np.isnan(injection.ohms[i]):
            return f"the meter had no number for the resistance at {name} (overload)"
        return f"the resistance at {name}, {injection.ohms[i]:.0f} ohm, is off its declared curve"

    return (
        Override(~board.is_usable[:, 0], Verdict.NOT_RUN, board_reason),
        Override(np.isnan(injection.celsius), Verdict.NOT_RUN, reference_reason),
        unsettled_overrides(visits, 1),
    )
