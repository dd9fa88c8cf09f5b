"""Contributions of the bench, each from its stated figure."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from checks_builder import CELLS, bench, meter_model, setup

from harness.checks import reference_budget
from harness.checks.reference import meter_of
from harness.checks.reference_budget import (
    MeterUse,
    rectangular,
    scaled,
    source_ohms,
    stack_source_ohms,
)
from harness.descriptions.bench import Wiring
from harness.descriptions.plan import NoiseSettings
from harness.metrology.budget import Shape

SETUP = setup(NoiseSettings(kind="noise"))


def use(volts: float = 3.3, coverage: str = "rectangular", cycles: float = 1.0) -> MeterUse:
    meter = replace(meter_of(SETUP), model=meter_model(accuracy_coverage=coverage))
    readings = np.array([volts])
    return MeterUse(meter, meter.model.voltage_ranges, readings, readings, cycles)


def test_a_bound_is_its_half_width_over_root_3():
    part = rectangular("x", np.array([-0.3, 0.6]), "source", "advice")
    assert [0.3 / np.sqrt(3), 0.6 / np.sqrt(3)] == pytest.approx(part.standard_uncertainty.tolist())
    assert Shape.RECTANGULAR is part.shape


def test_a_sensitivity_counts_by_its_size():
    part = scaled(rectangular("x", np.array([1.0]), "source", "advice"), np.array([-2.0]))
    assert 2 / np.sqrt(3) == pytest.approx(part.standard_uncertainty[0])


@pytest.mark.parametrize(
    ("coverage", "divisor", "shape"),
    [
        ("rectangular", np.sqrt(3), Shape.RECTANGULAR),
        ("normal 95 %", 1.96, Shape.NORMAL),
        ("normal 99 %", 2.58, Shape.NORMAL),
    ],
)
def test_the_stated_coverage_decides_divisor_and_shape(coverage, divisor, shape):
    part = reference_budget.meter_accuracy(use(coverage=coverage))
    expected = (35e-6 * 3.3 + 5e-6 * 10) / divisor
    assert expected == pytest.approx(part.standard_uncertainty[0])
    assert shape is part.shape


def test_the_source_names_meter_figures_range_and_column():
    assert (
        "dmm: 35 ppm of reading + 5 ppm of range 10 V (1y column)"
        == reference_budget.meter_accuracy(use()).source
    )


def test_resolution_is_half_a_step_of_the_range():
    part = reference_budget.meter_resolution(use(43.2))
    assert 0.5 * 0.3e-6 * 100 / np.sqrt(3) == pytest.approx(part.standard_uncertainty[0])


def test_longer_integration_has_less_noise():
    count = np.ones(1)
    short, long = (reference_budget.meter_noise(use(cycles=c), count) for c in (1.0, 10.0))
    assert 5.0 == pytest.approx(short.standard_uncertainty[0] / long.standard_uncertainty[0])


def test_noise_falls_with_the_root_of_the_readings():
    part = reference_budget.meter_noise(use(), np.array([4.0]))
    assert 5e-6 / 2 == pytest.approx(part.standard_uncertainty[0])


def test_inner_contacts_carry_the_declared_input_current():
    part = reference_budget.contact_drop(SETUP, (2, 3))
    assert [2 * 0.02 * 1e-6 / np.sqrt(3)] * 2 == pytest.approx(part.standard_uncertainty.tolist())


def test_the_end_contacts_carry_the_boards_supply_too():
    """10 mA through 0.02 ohm is 0.2 mV at the first and the last cell, and each run's again."""
    part = reference_budget.contact_drop(SETUP, (1, CELLS), 2)
    first, last = 0.01 + (CELLS + 1) * 1e-6, 0.01 + 2e-6
    expected = [0.02 * first / np.sqrt(3), 0.02 * last / np.sqrt(3)] * 2
    assert expected == pytest.approx(part.standard_uncertainty.tolist())


def test_over_the_stack_both_ends_drop():
    part = reference_budget.stack_contact_drop(SETUP, 1)
    expected = 0.02 * (2 * 0.01 + (CELLS + 1) * 1e-6) / np.sqrt(3)
    assert expected == pytest.approx(part.standard_uncertainty[0])


def test_a_path_without_relays_has_no_thermal_emf():
    part = reference_budget.relay_emf(SETUP, [(), ("1",)], 2)
    assert [0.0, 1e-6 / np.sqrt(3)] * 2 == pytest.approx(part.standard_uncertainty.tolist())


LADDER = replace(
    SETUP,
    bench=bench(
        wiring=Wiring(
            topology="ladder", cells=CELLS, supply="source", channels=(1,), rung_ohms=100.0
        )
    ),
)


def test_across_one_rung_of_a_ladder_stands_the_rung_beside_all_others():
    others = (CELLS - 1) * 100.0
    parallel = 100.0 * others / (100.0 + others)
    assert parallel + 2 * 0.07 == pytest.approx(source_ohms(LADDER))


def test_a_series_channel_is_stiff():
    assert 0.005 + 2 * 0.07 == pytest.approx(source_ohms(SETUP))


def test_across_a_ladder_stands_the_stiff_supply():
    assert 0.005 + 2 * 0.07 == pytest.approx(stack_source_ohms(LADDER))


def test_across_a_series_stack_stand_all_outputs():
    assert CELLS * 0.005 + 2 * 0.07 == pytest.approx(stack_source_ohms(SETUP))


def test_loading_is_the_divider_of_source_and_meter():
    ranges = tuple(replace(r, input_ohms=1e7) for r in meter_model().voltage_ranges)
    loaded = replace(use(), ranges=ranges)
    ohms = source_ohms(LADDER)
    part = reference_budget.loading(loaded, ohms)
    assert 3.3 * ohms / (ohms + 1e7) / np.sqrt(3) == pytest.approx(part.standard_uncertainty[0])
