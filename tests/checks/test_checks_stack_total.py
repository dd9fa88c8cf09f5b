"""Stack total: which comparisons there are, and whom each one blames."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from checks_builder import (
    CELLS,
    FakeBench,
    FakeBoard,
    bench,
    observed,
    setup,
    with_value,
    without,
)

from harness.bench.capabilities import Capability
from harness.checks.stack_total import StackTotalCheck, _plausibility
from harness.descriptions.plan import StackTotalSettings
from harness.metrology.budget import Shape
from harness.metrology.decision import Verdict
from harness.observation import Quantity, Source

CHECK = StackTotalCheck()
PLAN = StackTotalSettings(kind="stack-total", points_volts=(2.5, 3.65))
SETUP = setup(PLAN)
NO_STACK_PATH = setup(PLAN, bench=bench(paths=replace(bench().paths, meter_at_stack=None)))


def judged(fake: FakeBoard, a_setup=SETUP, **changes):
    return CHECK.judge(observed(CHECK, FakeBench(a_setup, fake, **changes)), a_setup, 0)


def of(findings, words: str):
    """Indices of the findings whose point says `words` after the voltage."""
    return [i for i, p in enumerate(findings.point) if p.split(" V ")[1] == words]


def test_three_comparisons_a_point_each_with_its_name():
    assert (
        "10.000 V against board cells",
        "10.000 V against reference",
        "10.000 V reference cells against reference",
    ) == judged(FakeBoard()).point[:3]


def test_a_good_board_passes():
    assert {Verdict.PASS} == set(judged(FakeBoard()).verdict)


def test_a_stack_divider_fault_shows_against_cells_and_reference_and_not_in_the_bench():
    findings = judged(FakeBoard(stack_gain=1.01))
    assert [Verdict.FAIL, Verdict.FAIL, Verdict.PASS] == list(findings.verdict[:3])


def test_a_lying_cell_shows_against_the_board_cells_only():
    findings = judged(FakeBoard(offset=(0, 0.06, 0, 0)))
    assert [Verdict.FAIL, Verdict.PASS, Verdict.PASS] == list(findings.verdict[:3])


def test_the_error_against_the_reference_is_that_of_the_stack():
    findings = judged(FakeBoard(stack_offset=0.02))
    assert [0.02, 0.02] == pytest.approx(findings.error[of(findings, "against reference")].tolist())


def test_a_bench_that_does_not_add_up_is_blamed_itself():
    seen = observed(CHECK, FakeBench(SETUP))
    findings = CHECK.judge(
        with_value(seen, 2.52, source=Source.REFERENCE, channel=3, step=0), SETUP, 0
    )
    assert Verdict.CANNOT_DECIDE is findings.verdict[2]
    assert findings.reason[2].startswith("bench: the reference cells add up to 20 mV more")


def test_one_meters_gain_error_is_no_contradiction_of_the_bench():
    findings = judged(FakeBoard(), meter_gain=1 + 35e-6)
    assert {Verdict.PASS} == {
        findings.verdict[i] for i in of(findings, "reference cells against reference")
    }


def test_without_a_stack_path_the_cells_are_the_reference():
    findings = judged(FakeBoard(), NO_STACK_PATH)
    assert ("10.000 V against board cells", "10.000 V against reference cells") == (
        findings.point[:2]
    )
    assert {Verdict.PASS} == set(findings.verdict)


def test_over_the_cells_the_meters_gain_error_adds_linearly():
    findings = judged(FakeBoard(), NO_STACK_PATH)
    accuracy = findings.budget.contributions[
        [c.name for c in findings.budget.contributions].index("meter accuracy")
    ]
    expected = CELLS * (35e-6 * 2.5 + 5e-6 * 10) / np.sqrt(3)
    assert [0.0, expected] == pytest.approx(accuracy.standard_uncertainty[:2].tolist())


def test_in_one_range_only_the_part_of_range_is_left_in_the_bench_sum():
    findings = judged(FakeBoard(noise=0))
    (first, _) = of(findings, "reference cells against reference")
    accuracy = next(c for c in findings.budget.contributions if c.name == "meter accuracy")
    expected = (CELLS - 1) * 5e-6 * 10 / np.sqrt(3)
    assert expected == pytest.approx(accuracy.standard_uncertainty[first])


def test_in_two_ranges_both_bounds_stand():
    findings = judged(FakeBoard(noise=0))
    (_, second) = of(findings, "reference cells against reference")
    accuracy = next(c for c in findings.budget.contributions if c.name == "meter accuracy")
    cells = CELLS * (35e-6 * 3.65 + 5e-6 * 10)
    stack = 35e-6 * CELLS * 3.65 + 5e-6 * 100
    assert np.hypot(cells, stack) / np.sqrt(3) == pytest.approx(
        accuracy.standard_uncertainty[second]
    )


def test_a_board_without_a_stack_voltage_is_not_run():
    seen = without(
        observed(CHECK, FakeBench(SETUP)), source=Source.BOARD, quantity=Quantity.STACK_VOLTAGE
    )
    findings = CHECK.judge(seen, SETUP, 0)
    assert [Verdict.NOT_RUN, Verdict.NOT_RUN, Verdict.PASS] == list(findings.verdict[:3])
    assert "the board sent no stack voltage" == findings.reason[0]


def test_a_missing_cell_spoils_the_sum_only():
    seen = with_value(
        observed(CHECK, FakeBench(SETUP)), np.nan, source=Source.BOARD, channel=2, step=0
    )
    findings = CHECK.judge(seen, SETUP, 0)
    assert [Verdict.NOT_RUN, Verdict.PASS] == list(findings.verdict[:2])
    assert "the board sent no value for channel 2" == findings.reason[0]


def test_an_overloaded_stack_reading_is_not_run():
    seen = with_value(
        observed(CHECK, FakeBench(SETUP)),
        np.nan,
        source=Source.REFERENCE,
        quantity=Quantity.STACK_VOLTAGE,
        step=0,
    )
    assert "no usable reference reading of the stack" == CHECK.judge(seen, SETUP, 0).reason[1]


def test_an_unsettled_point_cannot_be_decided():
    assert {Verdict.CANNOT_DECIDE} == set(judged(FakeBoard(), did_settle=False).verdict)


def test_the_stack_path_is_needed_where_there_is_one():
    assert Capability.METER_AT_STACK in CHECK.needs(SETUP, 0)
    assert Capability.METER_AT_CELL in CHECK.needs(NO_STACK_PATH, 0)


def test_cells_and_stack_are_measured_at_every_point():
    point = CHECK.points(SETUP, 0)[0]
    assert ((1, 2, 3, 4), True) == (point.cells, point.with_stack)


def test_the_settling_budget_is_the_one_measured_with_not_the_judging_plans():
    measured_by, judged_by = (setup(PLAN, settling={"budget_volts": b}) for b in (0.02, 0.0002))
    seen = observed(CHECK, FakeBench(measured_by))
    own, other = (CHECK.judge(seen, s, 0) for s in (measured_by, judged_by))
    assert own.expanded_uncertainty.tolist() == other.expanded_uncertainty.tolist()


def test_a_bench_whose_uncertainty_is_not_known_is_not_called_plausible():
    is_bench = np.array([True, True, True])
    difference, expanded = np.array([0.0, 0.0, np.nan]), np.array([0.001, np.nan, 0.001])
    off, _ = _plausibility(is_bench, difference, expanded)
    assert [False, True, True] == off.mask.tolist()
    assert off.verdict is Verdict.CANNOT_DECIDE
    assert "is not known" in off.reason(1)


def test_sums_of_cells_are_nearly_normal_where_a_reading_is_rectangular():
    """GUM G.2: many rectangular parts of one size add up to a normal one."""
    parts = {c.name: c.shape for c in judged(FakeBoard(), NO_STACK_PATH).budget.contributions}
    for name in ("meter resolution of cells", "relay thermal EMF of cells"):
        assert Shape.NORMAL is parts[name]
    with_path = {c.name: c.shape for c in judged(FakeBoard()).budget.contributions}
    assert Shape.RECTANGULAR is with_path["meter resolution"]


def test_the_contacts_of_the_end_taps_are_in_both_references():
    for a_setup in (SETUP, NO_STACK_PATH):
        part = next(
            c
            for c in judged(FakeBoard(), a_setup).budget.contributions
            if c.name == "lead and contact drop"
        )
        assert 0.0 == part.standard_uncertainty[0]
        assert 2 * 0.02 * 0.01 / np.sqrt(3) == pytest.approx(part.standard_uncertainty[1], rel=1e-3)


def test_in_the_bench_sum_the_contacts_cancel():
    findings = judged(FakeBoard())
    (first, _) = of(findings, "reference cells against reference")
    part = next(c for c in findings.budget.contributions if c.name == "lead and contact drop")
    assert 0.0 == part.standard_uncertainty[first]
