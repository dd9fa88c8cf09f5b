"""Limits: the plan's own before the board's."""

from __future__ import annotations

import numpy as np
from checks_builder import setup

from harness.checks.limits import limits_of
from harness.descriptions.plan import NoiseSettings

CHECK = NoiseSettings(kind="noise")


def test_without_an_override_the_board_states_the_limits():
    limits = limits_of(setup(CHECK))
    assert (0.005, 0.03, 0.001, 1.0) == (
        limits.cell_error_volts,
        limits.stack_error_volts,
        limits.noise_volts,
        limits.thermistor_error_celsius,
    )


def test_the_plan_overrides_what_it_states_only():
    limits = limits_of(setup(CHECK, limits={"noise_volts": 0.002}))
    assert (0.002, 0.005) == (limits.noise_volts, limits.cell_error_volts)


def test_outside_the_core_range_the_thermistor_limit_is_multiplied():
    limits = limits_of(setup(CHECK))
    found = limits.thermistor_limit_celsius(np.array([-0.1, 0.0, 60.0, 60.1]))
    assert [2.0, 1.0, 1.0, 2.0] == found.tolist()


def test_no_temperature_has_no_limit():
    assert np.isnan(limits_of(setup(CHECK)).thermistor_limit_celsius(np.array([np.nan]))[0])
