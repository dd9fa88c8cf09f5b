"""Noise: s against its limit, with what so many frames can say about s."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from checks_builder import (
    CELLS,
    FakeBench,
    FakeBoard,
    board,
    cell_inputs,
    observed,
    setup,
    with_value,
)
from scipy.stats import chi2

from harness.checks.noise import NoiseCheck, noise_figures, upper_bound_factor
from harness.descriptions.plan import NoiseSettings
from harness.metrology.decision import Verdict
from harness.observation import Observations, Quantity, Source

CHECK = NoiseCheck()
SETUP = setup(NoiseSettings(kind="noise"))


def judged(fake: FakeBoard, a_setup=SETUP, **changes):
    return CHECK.judge(observed(CHECK, FakeBench(a_setup, fake, **changes)), a_setup, 0)


def test_a_quiet_board_passes():
    assert (Verdict.PASS,) * CELLS == judged(FakeBoard(noise=0.0003)).verdict


def test_noise_far_above_the_limit_fails():
    assert (Verdict.FAIL,) * CELLS == judged(FakeBoard(noise=0.003)).verdict


def test_noise_just_below_the_limit_is_no_plain_pass():
    findings = judged(FakeBoard(noise=0.00095, step=0))
    assert Verdict.CONDITIONAL_PASS in findings.verdict
    assert Verdict.PASS not in findings.verdict


def test_the_indication_is_the_standard_deviation():
    fake = FakeBench(SETUP, FakeBoard(noise=0.0007))
    seen = observed(CHECK, fake)
    mine = seen.value[
        (seen.source == Source.BOARD)
        & (seen.channel == 2)
        & (seen.quantity == Quantity.CELL_VOLTAGE)
    ]
    assert np.std(mine, ddof=1) == pytest.approx(CHECK.judge(seen, SETUP, 0).indication[1])


def test_s_plus_u_is_the_chi_square_upper_bound():
    findings = judged(FakeBoard(noise=0.0007, step=0), seed=4)
    frames = noise_figures(
        observed(CHECK, FakeBench(SETUP, FakeBoard(noise=0.0007, step=0), seed=4)), SETUP, 0
    )
    plain = np.flatnonzero(frames.effective_frames[0] == 64)
    expected = findings.error * np.sqrt(63 / chi2.ppf(0.025, 63))
    assert expected[plain].tolist() == pytest.approx(
        (findings.error + findings.expanded_uncertainty)[plain].tolist()
    )


def test_the_upper_bound_of_s_shrinks_with_frames():
    factors = upper_bound_factor(np.array([9.0, 63.0, 999.0]), 0.95)
    assert np.all(np.diff(factors) < 0)


def test_a_frozen_channel_fails_and_says_so():
    noisy = setup(
        NoiseSettings(kind="noise"), board=board(cell_inputs=cell_inputs(noise_volts=0.0008))
    )
    seen = with_value(
        observed(CHECK, FakeBench(noisy, FakeBoard(noise=0.0008))),
        3.3,
        source=Source.BOARD,
        channel=3,
        quantity=Quantity.CELL_VOLTAGE,
    )
    findings = CHECK.judge(seen, noisy, 0)
    assert Verdict.FAIL is findings.verdict[2]
    assert findings.reason[2].startswith("channel 3 is frozen: 64 identical frames")


def test_stillness_that_the_declared_noise_explains_passes():
    assert {Verdict.PASS} == set(judged(FakeBoard(noise=0.0)).verdict)


def test_a_frame_without_value_is_not_run():
    seen = with_value(
        observed(CHECK, FakeBench(SETUP)), np.nan, source=Source.BOARD, channel=2, sequence=5
    )
    findings = CHECK.judge(seen, SETUP, 0)
    assert (Verdict.NOT_RUN, "channel 2 had no value in 1 of 64 frames") == (
        findings.verdict[1],
        findings.reason[1],
    )


def test_too_few_frames_are_not_run():
    seen = observed(CHECK, FakeBench(SETUP))
    findings = CHECK.judge(seen.where(seen.sequence < 10), SETUP, 0)
    assert {"10 frames only, 16 or more are needed"} == set(findings.reason)


def test_one_point_takes_the_planned_frames_and_no_reference():
    (point,) = CHECK.points(SETUP, 0)
    assert (64, ()) == (point.frames, point.cells)


# Figures for the report -------------------------------------------------------------------


def figures(fake: FakeBoard):
    return noise_figures(observed(CHECK, FakeBench(SETUP, fake)), SETUP, 0)


def test_peak_to_peak_and_noise_free_bits():
    found = figures(FakeBoard(noise=0.001))
    s = found.standard_deviation[0, 0]
    assert 0.004 < found.peak_to_peak[0, 0] < 0.008
    assert np.log2(2.5 / (6.6 * s)) == pytest.approx(found.noise_free_bits[0, 0])


def test_independent_frames_count_in_full():
    assert 64 == np.median(figures(FakeBoard(noise=0.001)).effective_frames)


class Wanderer:
    """Adds a first-order wander with correlation 0.9."""

    def __init__(self) -> None:
        self.state, self.rng = 0.0, np.random.default_rng(2)

    def __call__(self, values: np.ndarray) -> np.ndarray:
        self.state = 0.9 * self.state + self.rng.normal(0, 0.001)
        return values + self.state


def test_correlated_frames_count_for_less():
    found = figures(FakeBoard(noise=0.0, step=0.0, change=Wanderer()))
    assert 0.7 < found.lag1[0, 0] < 1.0
    assert found.effective_frames[0, 0] < 15


# The reporting step ----------------------------------------------------------------------


def quantised(sigma: float, limit: float, seed: int = 3):
    """Findings of 300 runs, the cells anywhere in their code of 1 mV."""
    a_setup = replace(
        setup(NoiseSettings(kind="noise", frames=64)),
        board=board(limits=replace(board().limits, noise_volts=limit)),
    )
    rng = np.random.default_rng(seed)
    shape = (300, 1, CELLS, 64)
    values = 3.3 + rng.uniform(-5e-4, 5e-4, (*shape[:3], 1)) + rng.normal(0, sigma, shape)
    run, step, channel, sequence = (i.reshape(-1) for i in np.indices(shape))
    seen = Observations(
        run=run,
        check=0 * run,
        step=step,
        source=0 * run + int(Source.BOARD),
        quantity=0 * run + int(Quantity.CELL_VOLTAGE),
        channel=channel + 1,
        sequence=sequence,
        value=np.round(values.reshape(-1), 3),
        monotonic=sequence * 0.1,
        labels={(0, 0): {"nominal_volts": 3.3}},
    )
    return CHECK.judge(seen, a_setup, 0)


@pytest.mark.parametrize("sigma", [5e-5, 1e-4, 1.5e-4, 2e-4, 2.5e-4, 3e-4, 5e-4])
def test_the_upper_bound_holds_wherever_in_its_code_the_value_lies(sigma):
    findings = quantised(sigma, 1e-3)
    bound = findings.indication + findings.expanded_uncertainty
    assert np.mean(bound >= sigma) >= 0.965


def test_a_limit_below_what_the_step_allows_is_never_passed():
    verdicts = set(quantised(1e-4, 1e-4).verdict)
    assert {Verdict.CANNOT_DECIDE} == verdicts


def test_a_limit_well_above_the_step_is_decided():
    assert {Verdict.PASS} == set(quantised(2e-4, 1e-3).verdict)
