"""Effort: as the plan says, or as its target uncertainty demands."""

from __future__ import annotations

from dataclasses import replace

import pytest
from checks_builder import FakeBench, FakeBoard, board, cell_inputs, meter_model, models, observed
from checks_builder import setup as a_setup

from harness.checks.cell_accuracy import CellAccuracyCheck
from harness.checks.effort import cell_effort, declared_scatter
from harness.descriptions.instrument import AgeColumn
from harness.descriptions.plan import CellAccuracySettings

PLAN = CellAccuracySettings(kind="cell-accuracy", points_volts=(2.5, 2.8, 3.0, 3.3, 3.65))
NOISY = board(cell_inputs=cell_inputs(noise_volts=0.0008))


def setup(**effort):
    return a_setup(PLAN, board=NOISY, effort=effort, settling={"budget_volts": 2e-5})


def test_without_a_target_the_plans_figures_stand():
    effort = cell_effort(setup(frames=7, readings=3, power_line_cycles=10.0), 3.65, 9)
    assert (7, 3, 10.0, "") == (
        effort.frames,
        effort.readings,
        effort.power_line_cycles,
        effort.note,
    )


def test_a_tighter_target_takes_more_frames():
    loose, tight = (
        cell_effort(setup(target_uncertainty_volts=t), 3.65, 9).frames for t in (6e-4, 4e-4)
    )
    assert 5 <= loose < tight


def test_the_target_is_met_by_what_is_then_measured():
    wanted = setup(target_uncertainty_volts=4e-4)
    fake = FakeBench(wanted, FakeBoard(noise=0.0008))
    findings = CellAccuracyCheck().judge(observed(CellAccuracyCheck(), fake), wanted, 0)
    assert 4e-4 == pytest.approx(findings.expanded_uncertainty.max(), rel=0.1)


def test_an_easy_target_takes_no_fewer_than_the_plan_says():
    assert 6 == cell_effort(setup(frames=6, target_uncertainty_volts=0.1), 3.65, 9).frames


def test_a_target_out_of_reach_is_told_with_what_stands_in_the_way():
    poor = meter_model(
        voltage_ranges=tuple(
            replace(
                r,
                accuracy={
                    AgeColumn.YEAR: replace(r.accuracy[AgeColumn.YEAR], ppm_of_reading=500.0)
                },
            )
            for r in meter_model().voltage_ranges
        )
    )
    limited = replace(setup(target_uncertainty_volts=4e-4, most_frames=50), models=models(dmm=poor))
    effort = cell_effort(limited, 3.65, 9)
    assert 50 == effort.frames
    assert effort.note.startswith(
        "target_uncertainty_volts: 0.4 mV is out of reach; 50 frames give 1.8"
    )
    assert "mostly meter accuracy" in effort.note


def test_cycles_rise_when_the_meters_noise_is_too_large_for_the_target():
    integration = tuple(
        replace(row, noise_ppm_of_range=noise)
        for row, noise in zip(meter_model().integration, (20.0, 0.5), strict=True)
    )
    noisy_meter = replace(
        setup(target_uncertainty_volts=4e-4),
        models=models(dmm=meter_model(integration=integration)),
    )
    assert 10.0 == cell_effort(noisy_meter, 3.65, 9).power_line_cycles


def test_cycles_are_never_fewer_than_the_plans():
    assert (
        10.0
        == cell_effort(
            setup(target_uncertainty_volts=4e-4, power_line_cycles=10.0), 3.65, 9
        ).power_line_cycles
    )


def test_declared_scatter_holds_noise_and_step():
    assert 0.0008**2 + 0.001**2 / 12 == pytest.approx(declared_scatter(setup()) ** 2, rel=0.01)


def test_points_carry_the_effort():
    wanted = setup(target_uncertainty_volts=4e-4)
    point = CellAccuracyCheck().points(wanted, 0)[0]
    assert cell_effort(wanted, 3.65, 9).frames == point.frames
