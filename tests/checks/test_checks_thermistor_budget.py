"""The budget of a temperature error on a bench whose resistance nobody can state."""

from __future__ import annotations

from dataclasses import replace

import pytest
from checks_builder import FakeBench, models, observed, setup

from harness.checks.thermistor_accuracy import ThermistorAccuracyCheck
from harness.descriptions.plan import ThermistorAccuracySettings
from harness.errors import MisuseError

CHECK = ThermistorAccuracyCheck()
SETUP = setup(
    ThermistorAccuracySettings(
        kind="thermistor-accuracy", points_celsius=(-10.0, 0.0, 25.0, 40.0, 60.0)
    )
)


def test_every_contribution_of_a_measured_resistance_is_there():
    findings = CHECK.judge(observed(CHECK, FakeBench(SETUP)), SETUP, 0)
    assert [
        "resistance meter accuracy",
        "meter resolution",
        "meter noise",
        "lead and contact resistance",
        "board repeatability",
        "board resolution",
        "settling residual",
    ] == [c.name for c in findings.budget.contributions]


def test_a_meter_without_resistance_ranges_cannot_be_the_reference():
    seen = observed(CHECK, FakeBench(SETUP))
    no_ohms = replace(models()["dmm"], resistance_ranges=())
    with pytest.raises(MisuseError, match="expected a meter with resistance ranges"):
        CHECK.judge(seen, replace(SETUP, models=models(dmm=no_ohms)), 0)
