"""Cell accuracy: points, what is acquired, and what the observations amount to."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from checks_builder import (
    CELLS,
    FakeBench,
    FakeBoard,
    acquired,
    bench,
    joined,
    meter_model,
    models,
    observed,
    setup,
    with_value,
    without,
)
from hypothesis import given, settings
from hypothesis import strategies as st

from harness.bench.capabilities import Capability
from harness.checks.cell_accuracy import CellAccuracyCheck
from harness.descriptions.bench import Ambient
from harness.descriptions.plan import CellAccuracySettings
from harness.metrology.decision import Verdict
from harness.observation import Quantity, Source, tabulate

CHECK = CellAccuracyCheck()
POINTS = (3.3, 2.5, 2.8, 3.65, 3.0)


def plan(**changes):
    return CellAccuracySettings(kind="cell-accuracy", **{"points_volts": POINTS, **changes})


SETUP = setup(plan(), effort={"frames": 10})


def judged(fake: FakeBoard, a_setup=SETUP, **changes):
    return CHECK.judge(observed(CHECK, FakeBench(a_setup, fake, **changes)), a_setup, 0)


def part(findings, name: str):
    return next(c for c in findings.budget.contributions if c.name == name)


# Points -----------------------------------------------------------------------------------


def test_points_go_up_then_down_with_the_top_visited_once():
    points = CHECK.points(SETUP, 0)
    assert [2.5, 2.8, 3.0, 3.3, 3.65, 3.3, 3.0, 2.8, 2.5] == [
        p.label["nominal_volts"] for p in points
    ]
    assert ["up"] * 5 + ["down"] * 4 == [p.label["direction"] for p in points]


def test_steps_count_from_0():
    assert list(range(9)) == [p.step for p in CHECK.points(SETUP, 0)]


def test_down_alone_begins_at_the_top():
    only = setup(plan(directions=("down",)))
    assert 3.65 == CHECK.points(only, 0)[0].cell_volts[0]


def test_all_cells_are_set_and_the_named_ones_measured():
    some = setup(plan(cells=(2, 4)))
    point = CHECK.points(some, 0)[0]
    assert ((2.5,) * CELLS, (2, 4)) == (point.cell_volts, point.cells)


def test_the_bench_is_set_before_it_measures():
    fake = FakeBench(SETUP)
    CHECK.acquire(fake, CHECK.points(SETUP, 0)[0], 0)
    assert ["set_cells", "measure_cells"] == [c[0] for c in fake.calls]


def test_a_record_tells_its_label_and_times():
    record = acquired(CHECK, FakeBench(SETUP))[0]
    expected = {
        "nominal_volts": 2.5,
        "direction": "up",
        "power_line_cycles": 1.0,
        "settling_budget_volts": SETUP.plan.settling.budget_volts,
    }
    assert expected == record.label
    assert record.began_monotonic < record.ended_monotonic


def test_what_is_needed_is_a_supply_and_a_meter_at_each_cell():
    assert {Capability.CELL_SOURCE, Capability.METER_AT_CELL} == CHECK.needs(SETUP, 0)


# Errors -----------------------------------------------------------------------------------


def test_a_good_board_passes():
    assert Verdict.PASS is judged(FakeBoard()).worst()


def test_points_are_named_by_voltage_and_direction():
    assert {"2.500 V up", "3.650 V up", "2.500 V down"} <= set(judged(FakeBoard()).point)


def test_the_error_is_board_less_reference():
    findings = judged(FakeBoard(noise=0, step=0), meter_gain=1.001)
    assert [-0.0025] * CELLS == pytest.approx(findings.error[:CELLS].tolist())


@settings(max_examples=25, deadline=None)
@given(
    st.floats(-2e-3, 2e-3),
    st.floats(-0.004, 0.004),
    st.integers(0, CELLS - 1),
    st.integers(0, 1000),
)
def test_an_injected_gain_and_offset_come_back_inside_twice_the_uncertainty(
    gain, offset, channel, seed
):
    gains, offsets = np.ones(CELLS), np.zeros(CELLS)
    gains[channel] += gain
    offsets[channel] = offset
    findings = judged(FakeBoard(gain=gains, offset=offsets), seed=seed)
    mine = findings.channel == channel + 1
    injected = gain * findings.reference[mine] + offset
    assert np.all(
        np.abs(findings.error[mine] - injected) <= 2 * findings.expanded_uncertainty[mine]
    )


def test_a_gain_fault_fails_its_own_channel_only():
    findings = judged(FakeBoard(gain=(1, 1.0017, 1, 1)))
    verdicts = dict(
        zip(zip(findings.channel, findings.point, strict=True), findings.verdict, strict=True)
    )
    assert (Verdict.FAIL, Verdict.PASS) == (verdicts[2, "3.650 V up"], verdicts[1, "3.650 V up"])


def test_simple_acceptance_knows_no_conditional_statement():
    simple = setup(plan(), effort={"frames": 10}, decision={"rule": "simple"})
    findings = judged(FakeBoard(offset=(0.0048,) * CELLS, noise=0, step=0), simple)
    assert {Verdict.PASS} == set(findings.verdict)


def test_near_the_limit_the_guard_band_makes_it_conditional():
    findings = judged(FakeBoard(offset=(0.0048,) * CELLS, noise=0, step=0))
    assert {Verdict.CONDITIONAL_PASS} == set(findings.verdict)


def test_a_meter_worse_than_the_limit_cannot_decide():
    poor = meter_model(
        voltage_ranges=(
            replace(
                meter_model().voltage_ranges[1],
                accuracy={
                    k: replace(c, ppm_of_reading=5000.0)
                    for k, c in meter_model().voltage_ranges[1].accuracy.items()
                },
            ),
        )
    )
    findings = judged(FakeBoard(), setup(plan(), models=models(dmm=poor)))
    assert {Verdict.CANNOT_DECIDE} == set(findings.verdict)


def test_an_accepted_finding_tells_its_probability_of_being_wrong():
    findings = judged(FakeBoard(offset=(0.0048,) * CELLS, noise=0, step=0))
    assert 0.01 < findings.false_accept_probability[0] < 0.5
    assert np.isnan(findings.false_reject_probability[0])


# What must not be judged ------------------------------------------------------------------


def seen():
    return observed(CHECK, FakeBench(SETUP))


def verdict_and_reason(observations, step: int, channel: int):
    findings = CHECK.judge(observations, SETUP, 0)
    (i,) = np.flatnonzero((findings.step == step) & (findings.channel == channel))
    return findings.verdict[i], findings.reason[i]


def test_a_frame_without_a_value_is_not_run():
    changed = with_value(
        seen(),
        np.nan,
        source=Source.BOARD,
        quantity=Quantity.CELL_VOLTAGE,
        channel=3,
        step=2,
        sequence=4,
    )
    assert (Verdict.NOT_RUN, "channel 3 had no value in 1 of 10 frames") == verdict_and_reason(
        changed, 2, 3
    )


def test_a_channel_that_the_board_does_not_send_is_not_run():
    changed = without(seen(), source=Source.BOARD, quantity=Quantity.CELL_VOLTAGE, channel=4)
    assert (Verdict.NOT_RUN, "the board sent no value for channel 4") == verdict_and_reason(
        changed, 0, 4
    )


def test_an_overload_is_not_run():
    changed = with_value(seen(), np.nan, source=Source.REFERENCE, channel=2, step=1)
    assert (
        Verdict.NOT_RUN,
        "the meter had no number at cell 2 (overload) in 1 of 1 readings",
    ) == verdict_and_reason(changed, 1, 2)


def test_a_cell_without_a_reading_is_not_run():
    changed = without(seen(), source=Source.REFERENCE, channel=2, step=1)
    assert (Verdict.NOT_RUN, "no reference reading at cell 2") == verdict_and_reason(changed, 1, 2)


def test_a_missing_value_spoils_no_other_channel():
    changed = with_value(seen(), np.nan, source=Source.REFERENCE, channel=2, step=1)
    findings = CHECK.judge(changed, SETUP, 0)
    assert 1 == sum(v is not Verdict.PASS for v in findings.verdict)


def test_a_point_that_did_not_settle_cannot_be_decided():
    findings = CHECK.judge(observed(CHECK, FakeBench(SETUP, did_settle=False)), SETUP, 0)
    assert ({Verdict.CANNOT_DECIDE}, {"did not settle"}) == (
        set(findings.verdict),
        set(findings.reason),
    )


def test_what_is_not_judged_has_no_risks():
    findings = CHECK.judge(observed(CHECK, FakeBench(SETUP, did_settle=False)), SETUP, 0)
    assert np.isnan(findings.false_accept_probability).all()


# The budget -------------------------------------------------------------------------------


def test_every_contribution_of_the_documented_budget_is_there():
    assert [
        "meter accuracy",
        "meter resolution",
        "meter noise",
        "lead and contact drop",
        "relay thermal EMF",
        "loading",
        "drift",
        "board repeatability",
        "board resolution",
        "settling residual",
    ] == [c.name for c in judged(FakeBoard()).budget.contributions]


def test_each_contribution_says_where_it_comes_from_and_what_would_reduce_it():
    assert all(c.source and c.reduce_by for c in judged(FakeBoard()).budget.contributions)


def test_the_meters_accuracy_is_common_to_all_channels_and_nothing_else_is():
    assert ["meter accuracy"] == [
        c.name for c in judged(FakeBoard()).budget.contributions if c.is_common
    ]


def test_channels_compare_better_than_they_are_known():
    findings = judged(FakeBoard())
    assert np.all(findings.channel_to_channel_uncertainty < findings.expanded_uncertainty)


def test_meter_accuracy_is_the_specification_over_root_3():
    findings = judged(FakeBoard(noise=0, step=0))
    expected = (35e-6 * 2.5 + 5e-6 * 10) / np.sqrt(3)
    assert expected == pytest.approx(part(findings, "meter accuracy").standard_uncertainty[0])


def test_outside_its_band_the_temperature_coefficient_is_added():
    warm_ranges = tuple(
        replace(r, temperature_ppm_of_reading_per_kelvin=5.0) for r in meter_model().voltage_ranges
    )
    warm = setup(
        plan(),
        bench=bench(ambient=Ambient(celsius=31.0)),
        models=models(dmm=meter_model(voltage_ranges=warm_ranges)),
    )
    findings = judged(FakeBoard(noise=0, step=0), warm)
    expected = (35e-6 * 2.5 + 5e-6 * 10 + 3 * 5e-6 * 2.5) / np.sqrt(3)
    assert expected == pytest.approx(part(findings, "meter accuracy").standard_uncertainty[0])
    assert "3 K outside its temperature band" in part(findings, "meter accuracy").source


def test_one_reading_a_cell_takes_the_noise_that_the_meter_states():
    noise = part(judged(FakeBoard()), "meter noise")
    assert 5e-6 == pytest.approx(noise.standard_uncertainty[1])
    assert np.inf == noise.degrees_of_freedom[1]


def test_repeated_readings_show_their_own_noise():
    repeated = setup(plan(), effort={"readings": 4})
    noise = part(judged(FakeBoard(), repeated, meter_noise=5e-5), "meter noise")
    assert 5e-5 / 2 == pytest.approx(noise.standard_uncertainty[1], rel=0.2)
    assert 9 * CELLS * 3 == noise.degrees_of_freedom[1]


def test_the_first_cell_was_read_twice_as_often():
    noise = part(judged(FakeBoard()), "meter noise").standard_uncertainty
    assert np.sqrt(2) == pytest.approx(noise[1] / noise[0])


def test_drift_is_half_the_change_of_the_bracket_as_a_bound():
    changed = with_value(seen(), 2.5002, source=Source.REFERENCE, channel=1, step=0, sequence=1)
    drift = part(CHECK.judge(changed, SETUP, 0), "drift").standard_uncertainty
    assert [0.0002 / (2 * np.sqrt(3))] * CELLS + [0.0] == pytest.approx(drift[: CELLS + 1].tolist())


def test_settling_is_the_plans_budget_decayed_over_the_window():
    settling = part(judged(FakeBoard()), "settling residual").standard_uncertainty
    assert 0 < settling[0] < 0.0002 / np.sqrt(3)


def test_relays_add_in_quadrature():
    emf = part(judged(FakeBoard()), "relay thermal EMF").standard_uncertainty
    assert 1e-6 * np.sqrt(2) / np.sqrt(3) == pytest.approx(emf[0])


def test_a_still_board_carries_its_whole_step():
    resolution = part(judged(FakeBoard(noise=0)), "board resolution").standard_uncertainty
    assert 0.001 / np.sqrt(12) == pytest.approx(resolution[0])


def test_noise_takes_the_step_out_of_the_mean():
    resolution = part(judged(FakeBoard(noise=0.0008)), "board resolution").standard_uncertainty
    assert np.all(resolution < 1e-5)


def test_scatter_is_pooled_over_the_points_of_a_channel():
    """Nine points of ten frames: more than one point's nine, less what correlation may take."""
    freedom = part(judged(FakeBoard(noise=0.001)), "board repeatability").degrees_of_freedom
    assert 9 < freedom.min()
    assert freedom.max() <= 9 * 9


def test_one_frame_a_point_takes_the_noise_that_the_board_declares():
    first = seen()
    alone = first.where((first.source != Source.BOARD) | (first.sequence == 0))
    repeatability = part(CHECK.judge(alone, SETUP, 0), "board repeatability")
    assert (0.0003, np.inf) == (
        repeatability.standard_uncertainty[0],
        repeatability.degrees_of_freedom[0],
    )


# Many runs --------------------------------------------------------------------------------


def test_runs_in_one_table_are_judged_as_they_are_alone():
    alone = [observed(CHECK, FakeBench(SETUP, seed=s), run=s) for s in (1, 2)]
    together = CHECK.judge(joined(*alone), SETUP, 0)
    apart = np.concatenate([CHECK.judge(a, SETUP, 0).expanded_uncertainty for a in alone])
    assert apart.tolist() == pytest.approx(together.expanded_uncertainty.tolist())


def test_a_run_that_stopped_early_has_findings_for_its_points_only():
    points = acquired(CHECK, FakeBench(SETUP))
    both = joined(tabulate(points, run=1), tabulate(points[:3], run=2))
    findings = CHECK.judge(both, SETUP, 0)
    assert [9 * CELLS, 3 * CELLS] == np.unique(findings.run, return_counts=True)[1].tolist()


# Judged by another plan ---------------------------------------------------------------------


def test_the_settling_budget_is_the_one_measured_with_not_the_judging_plans():
    """A point that waited for 20 mV may still lack 20 mV, whatever a later plan would wait for."""
    measured_by = setup(plan(), settling={"budget_volts": 0.020})
    judged_by = setup(plan(), settling={"budget_volts": 0.0002})
    seen = observed(CHECK, FakeBench(measured_by))
    own, other = (CHECK.judge(seen, s, 0) for s in (measured_by, judged_by))
    assert own.expanded_uncertainty.tolist() == other.expanded_uncertainty.tolist()


def test_points_without_a_kept_settling_budget_take_the_plans():
    seen = observed(CHECK, FakeBench(SETUP))
    bare = replace(seen, labels={key: {"nominal_volts": 3.3} for key in seen.labels})
    strict, loose = (
        CHECK.judge(bare, setup(plan(), settling={"budget_volts": b}), 0) for b in (2e-4, 2e-2)
    )
    little, much = (part(f, "settling residual").standard_uncertainty for f in (strict, loose))
    assert (100 * little).tolist() == pytest.approx(much.tolist())
