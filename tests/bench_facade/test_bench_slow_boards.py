"""A board slower than declared is waited for or not judged, and never blamed; through the twin."""

from __future__ import annotations

import pytest
from twin_runs import TwinRun, setup_of, with_checks

from harness.descriptions.plan import CellAccuracySettings
from harness.metrology.decision import Verdict
from harness.simulator.faults import CellFault, Faults

SLOW_CELL = 3
# A healthy channel of the twin is true to 0.3 mV; the step of the reported value is 1 mV.
TRUE_VOLTS = 0.0013
# Time constants are found from the times of frames, which a crowded machine blurs by so much of
# the clock's speed.
SPEED = 5.0


def measured(measure_on_twin, fault: CellFault) -> TwinRun:
    """Five points, a small and large steps among them."""
    points = CellAccuracySettings(
        kind="cell-accuracy", points_volts=(2.5, 3.3, 3.31, 3.35, 3.6), directions=("up",)
    )
    setup = with_checks(setup_of(), points)
    return measure_on_twin(setup, Faults(cell=(fault,)), speed=SPEED)


@pytest.mark.parametrize("tau", [0.1, 0.6])
def test_lag_is_never_judged_as_an_error(measure_on_twin, tau: float) -> None:
    """Either the true small error comes out, or the point did not settle."""
    run = measured(measure_on_twin, CellFault(cell=SLOW_CELL, filter_time_constant_seconds=tau))
    findings = run.findings("cell-accuracy")
    assert 60 == len(findings)
    for finding in findings:
        if finding.reason == "did not settle":
            assert Verdict.CANNOT_DECIDE == finding.verdict
        else:
            assert abs(finding.error) <= TRUE_VOLTS
    told = {text[text.index("cell") :][:7] for text in run.texts("slow board")}
    assert told <= {f"cell {SLOW_CELL} "}
    assert told or tau < 0.1


def test_a_noisy_channel_holds_up_nobody(measure_on_twin) -> None:
    """Ten times the declared noise: settled within its longer window at every point."""
    noisy = measured(measure_on_twin, CellFault(cell=SLOW_CELL, noise_volts=0.005))
    quiet = measured(measure_on_twin, CellFault(cell=SLOW_CELL))
    assert not [f for f in noisy.findings("cell-accuracy") if f.reason == "did not settle"]
    assert not noisy.texts("slow board")
    assert noisy.timing.taken_seconds < quiet.timing.taken_seconds + 5 * 16 * 0.05 * 1.5
