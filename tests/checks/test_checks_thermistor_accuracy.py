"""Thermistor accuracy: temperature errors against the measured resistance."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from checks_builder import (
    THERMISTORS,
    FakeBench,
    FakeBoard,
    acquired,
    bench,
    observed,
    setup,
    with_value,
    without,
)

from harness.checks.thermistor_accuracy import ThermistorAccuracyCheck
from harness.descriptions.curve import CurveDescription, TableForm
from harness.descriptions.curve_values import curve_value
from harness.descriptions.plan import ThermistorAccuracySettings
from harness.errors import DescriptionError
from harness.metrology.decision import Verdict
from harness.observation import Quantity, Source

CHECK = ThermistorAccuracyCheck()
CELSIUS = (25.0, -10.0, 0.0, 40.0, 70.0)
PLAN = ThermistorAccuracySettings(kind="thermistor-accuracy", points_celsius=CELSIUS)
SETUP = setup(PLAN)
CURVE = curve_value(SETUP.curves[0])


def judged(fake: FakeBoard, a_setup=SETUP, **changes):
    return CHECK.judge(observed(CHECK, FakeBench(a_setup, fake, **changes)), a_setup, 0)


def part(findings, name: str):
    return next(c for c in findings.budget.contributions if c.name == name)


def test_a_good_board_passes():
    assert {Verdict.PASS} == set(judged(FakeBoard()).verdict)


def test_every_thermistor_is_visited_at_every_temperature():
    labels = [(p.label["thermistor"], p.label["nominal_celsius"]) for p in CHECK.points(SETUP, 0)]
    assert {(k, c) for k in (1, 2) for c in CELSIUS} == set(labels)
    assert len(CELSIUS) * THERMISTORS == len(labels)


def test_the_decade_moves_once_a_temperature():
    ohms = [p.label["nominal_ohms"] for p in CHECK.points(SETUP, 0)]
    assert len(CELSIUS) - 1 == np.count_nonzero(np.diff(ohms))
    assert sorted(ohms, reverse=True) == ohms


def test_between_temperatures_the_thermistor_stays():
    order = [p.label["thermistor"] for p in CHECK.points(SETUP, 0)]
    assert [1, 2, 2, 1, 1, 2, 2, 1, 1, 2] == order


def test_the_resistance_is_that_of_the_declared_curve():
    point = next(p for p in CHECK.points(SETUP, 0) if p.label["nominal_celsius"] == 40.0)
    assert {point.thermistor: pytest.approx(float(CURVE.resistance(40.0)), abs=1e-3)} == (
        point.thermistor_ohms
    )


def test_a_temperature_off_the_curve_is_a_fault_of_the_plan():
    short = CurveDescription(
        name="short", curve=TableForm(form="table", celsius=(0.0, 50.0), ohms=(3e4, 4e3))
    )
    off = setup(PLAN, curves=(short, short))
    with pytest.raises(DescriptionError, match=r"curve short of thermistor 1, got -10 degC"):
        CHECK.points(off, 0)


def test_the_board_is_powered_before_the_resistance_is_injected():
    fake = FakeBench(SETUP)
    acquired(CHECK, fake)
    assert ["set_cells", "set_thermistors", "measure_thermistor"] == [c[0] for c in fake.calls[:3]]


def test_an_error_of_one_thermistor_comes_back_there():
    findings = judged(FakeBoard(celsius_offset=(0.0, 1.6)))
    mine = findings.channel == 2
    assert np.allclose(findings.error[mine], 1.6, atol=0.06)
    assert {Verdict.FAIL} == {
        v
        for v, c, n in zip(findings.verdict, findings.channel, findings.nominal, strict=True)
        if c == 2 and 0 <= n <= 60
    }


def test_outside_the_core_range_the_limit_is_wider():
    findings = judged(FakeBoard())
    limits = dict(zip(findings.nominal.tolist(), findings.limit.tolist(), strict=True))
    assert {-10.0: 2.0, 0.0: 1.0, 25.0: 1.0, 40.0: 1.0, 70.0: 2.0} == limits


def test_points_are_named_by_their_temperature():
    assert "-10.0 degC" == judged(FakeBoard()).point[0]


def test_the_reference_is_the_measured_resistance_and_not_the_nominal_one():
    findings = judged(FakeBoard(), meter_gain=1.01)
    expected = CURVE.temperature(CURVE.resistance(findings.nominal) * 1.01)
    assert expected.tolist() == pytest.approx(findings.reference.tolist(), abs=1e-5)


def test_resistance_terms_enter_through_the_slope_of_the_curve():
    findings = judged(FakeBoard())
    i = findings.nominal.tolist().index(25.0)
    slope = abs(float(CURVE.sensitivity(1e4)))
    expected = slope * (35e-6 * 1e4 + 5e-6 * 1e4) / np.sqrt(3)
    found = part(findings, "resistance meter accuracy")
    assert expected == pytest.approx(found.standard_uncertainty[i])
    assert found.is_common


def test_leads_contacts_and_relays_count_twice():
    findings = judged(FakeBoard())
    i = findings.nominal.tolist().index(25.0)
    expected = abs(float(CURVE.sensitivity(1e4))) * 2 * (0.05 + 0.02 + 0.1) / np.sqrt(3)
    assert expected == pytest.approx(
        part(findings, "lead and contact resistance").standard_uncertainty[i]
    )


NO_METER_PATH = setup(PLAN, bench=bench(paths=replace(bench().paths, meter_at_decade=None)))


def by_setting():
    seen = observed(CHECK, FakeBench(NO_METER_PATH))
    is_ohms = seen.quantity == Quantity.RESISTANCE
    return replace(seen, source=np.where(is_ohms, int(Source.SETPOINT), seen.source))


def test_without_a_meter_path_the_decades_own_accuracy_stands():
    findings = CHECK.judge(by_setting(), NO_METER_PATH, 0)
    i = findings.nominal.tolist().index(25.0)
    expected = abs(float(CURVE.sensitivity(1e4))) * (1e-3 * 1e4 + 0.3) / np.sqrt(3)
    assert expected == pytest.approx(part(findings, "decade accuracy").standard_uncertainty[i])


def test_each_thermistors_scatter_is_its_own():
    seen = observed(CHECK, FakeBench(SETUP))
    rng = np.random.default_rng(3)
    noisy = (seen.quantity == Quantity.TEMPERATURE) & (seen.channel == 2)
    value = seen.value + np.where(noisy, rng.normal(0, 0.2, len(seen)), 0.0)
    findings = CHECK.judge(replace(seen, value=value), SETUP, 0)
    u = part(findings, "board repeatability").standard_uncertainty
    assert (u[findings.channel == 1] == 0).all()
    assert (u[findings.channel == 2] > 0.03).all()


def step_of(findings, celsius: float, thermistor: int) -> int:
    (i,) = np.flatnonzero((findings.nominal == celsius) & (findings.channel == thermistor))
    return int(i)


def test_no_temperature_is_not_run():
    seen = observed(CHECK, FakeBench(SETUP))
    changed = with_value(
        seen,
        np.nan,
        source=Source.BOARD,
        quantity=Quantity.TEMPERATURE,
        channel=1,
        step=0,
        sequence=2,
    )
    findings = CHECK.judge(changed, SETUP, 0)
    assert (Verdict.NOT_RUN, "thermistor 1 had no value in 1 of 5 frames") == (
        findings.verdict[0],
        findings.reason[0],
    )


def test_no_resistance_is_not_run():
    seen = without(observed(CHECK, FakeBench(SETUP)), quantity=Quantity.RESISTANCE, step=0)
    assert "no reading of the resistance at thermistor 1" == CHECK.judge(seen, SETUP, 0).reason[0]


def test_an_overload_of_the_resistance_is_not_run():
    seen = with_value(
        observed(CHECK, FakeBench(SETUP)), np.nan, quantity=Quantity.RESISTANCE, step=0
    )
    assert (
        "the meter had no number for the resistance at thermistor 1 (overload)"
        == CHECK.judge(seen, SETUP, 0).reason[0]
    )


def test_a_resistance_off_the_curve_is_not_run():
    seen = with_value(observed(CHECK, FakeBench(SETUP)), -5.0, quantity=Quantity.RESISTANCE, step=0)
    assert (
        "the resistance at thermistor 1, -5 ohm, is off its declared curve"
        == CHECK.judge(seen, SETUP, 0).reason[0]
    )


def test_an_unsettled_point_cannot_be_decided():
    assert {Verdict.CANNOT_DECIDE} == set(judged(FakeBoard(), did_settle=False).verdict)


def test_the_settling_budget_is_the_one_measured_with_not_the_judging_plans():
    measured_by, judged_by = (setup(PLAN, settling={"budget_celsius": b}) for b in (0.5, 0.01))
    seen = observed(CHECK, FakeBench(measured_by))
    own, other = (CHECK.judge(seen, s, 0) for s in (measured_by, judged_by))
    assert own.expanded_uncertainty.tolist() == other.expanded_uncertainty.tolist()
