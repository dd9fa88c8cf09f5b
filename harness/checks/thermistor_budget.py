"""The budget of a temperature error: resistance terms through dT/dR, the board's own in kelvin."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from harness.checks import board_budget, reference_budget
from harness.checks.board_budget import mean_decay, scatter_of
from harness.checks.cell_budget import reading_scatter
from harness.checks.reference import decade_of, meter_of
from harness.checks.reference_budget import MeterUse, rectangular, scaled
from harness.checks.samples import Samples, Visits
from harness.checks.visiting import SETTLING_CELSIUS
from harness.descriptions.instrument import SwitchModel
from harness.descriptions.paths import resolve_relay
from harness.descriptions.setup import Setup
from harness.errors import MisuseError
from harness.metrology.budget import Budget, Contribution
from harness.observation import FloatArray, IntArray

_PPM = 1.0e-6


@dataclass(frozen=True)
class Injection:
    """A resistance injected at one thermistor at each of p visits.

    thermistor : its number, shape (p,). board : temperatures, shape (p, 1, m).
    reference : resistances, shape (p, 1, m); ohms : their means, shape (p,).
    nominal_ohms : what was asked for, by which the meter's range was chosen.
    celsius, kelvin_per_ohm : of `ohms` on the declared curve, shape (p,).
    is_by_meter : read by the meter; else the decade's own setting.
    """

    visits: Visits
    thermistor: IntArray
    board: Samples
    reference: Samples
    ohms: FloatArray
    nominal_ohms: FloatArray
    celsius: FloatArray
    kelvin_per_ohm: FloatArray
    is_by_meter: bool


def injection_budget(injection: Injection, setup: Setup) -> Budget:
    """All contributions to the errors of the p visits, kelvin."""
    parts = _by_meter(injection, setup) if injection.is_by_meter else _by_decade(injection, setup)
    resistance = (*parts, _leads(injection, setup))
    return Budget(
        (
            *(scaled(part, injection.kelvin_per_ohm) for part in resistance),
            *_board(injection, setup),
        )
    )


def _by_meter(injection: Injection, setup: Setup) -> tuple[Contribution, ...]:
    meter = meter_of(setup)
    if meter is None or not meter.model.resistance_ranges:
        raise MisuseError("bench: expected a meter with resistance ranges to judge by, got none")
    kept = injection.visits.numbers("power_line_cycles")
    known = kept[~np.isnan(kept)]
    cycles = float(known.min()) if len(known) else setup.plan.effort.power_line_cycles
    use = MeterUse(
        meter,
        meter.model.resistance_ranges,
        injection.ohms,
        injection.nominal_ohms,
        cycles,
        unit="ohm",
    )
    scatter = reading_scatter(injection.reference, injection.visits)
    count = injection.reference.count[:, 0].astype(np.float64)
    accuracy = reference_budget.meter_accuracy(use)
    return (
        replace(accuracy, name="resistance meter accuracy"),
        reference_budget.meter_resolution(use),
        reference_budget.meter_noise(use, count, scatter.deviation, scatter.freedom),
    )


def _by_decade(injection: Injection, setup: Setup) -> tuple[Contribution, ...]:
    """The decade's own accuracy: ppm of setting and what its switches add at any setting."""
    decade = decade_of(setup)
    if decade is None:
        raise MisuseError("bench: expected a meter or a decade to judge resistance by, got none")
    model = decade.model
    return (
        rectangular(
            "decade accuracy",
            model.accuracy_ppm * _PPM * injection.ohms + model.residual_ohms,
            f"{decade.name}: {model.accuracy_ppm:g} ppm of setting + {model.residual_ohms:g} ohm",
            "measure the injected resistance with the meter",
            is_common=True,
        ),
    )


def _leads(injection: Injection, setup: Setup) -> Contribution:
    """Leads, contacts and relays between the resistance source and the board, there and back."""
    wiring, paths = setup.bench.wiring, setup.bench.paths.decade_at_thermistor
    bounds = np.array(
        [
            2 * (wiring.lead_ohms + wiring.contact_ohms + _relay_ohms(setup, path))
            for path in (paths or ((),) * len(setup.board.thermistors))
        ]
    )
    return rectangular(
        "lead and contact resistance",
        bounds[injection.thermistor - 1],
        f"leads {wiring.lead_ohms:g} ohm, contacts {wiring.contact_ohms:g} ohm and relays, twice",
        "shorter leads, or a null of the leads",
    )


def _relay_ohms(setup: Setup, path: tuple[str, ...]) -> float:
    models = [setup.models[resolve_relay(relay, setup)[0]] for relay in path]
    return sum(model.contact_ohms for model in models if isinstance(model, SwitchModel))


def _board(injection: Injection, setup: Setup) -> tuple[Contribution, ...]:
    """Scatter pooled over a thermistor's points, its own step, the settling budget."""
    channels = setup.board.thermistors
    place = injection.thermistor - 1
    step = np.array([c.resolution_celsius for c in channels])[place]
    noise = np.array([c.noise_celsius for c in channels])[place]
    pools = injection.visits.run_index * len(channels) + place
    scatter = scatter_of(injection.board, pools, step, noise, runs=injection.visits.run_index)
    budget = injection.visits.numbers(SETTLING_CELSIUS, setup.plan.settling.budget_celsius)
    tau = np.array([c.filter_time_constant_seconds for c in channels])[place]
    return (
        board_budget.repeatability(scatter),
        board_budget.resolution(scatter, step, "K"),
        board_budget.settling(budget, mean_decay(injection.board, tau[:, None]), "K"),
    )
