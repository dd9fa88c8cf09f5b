"""Set-points, ramps and settling times are computed as the physics says."""

from __future__ import annotations

import numpy as np
import pytest

from harness.bench.source import (
    RAMP_LEAD_SECONDS,
    FilterLag,
    channel_targets,
    plan_ramp,
)
from harness.descriptions.bench import Ceilings, Wiring
from harness.errors import MisuseError

SERIES = Wiring(topology="series", cells=3, supply="supply", channels=(4, 5, 6))
LADDER = Wiring(topology="ladder", cells=3, supply="supply", channels=(2,), rung_ohms=100.0)


def test_series_channel_carries_its_cell() -> None:
    assert {4: 3.0, 5: 3.1, 6: 3.2} == channel_targets(SERIES, (3.0, 3.1, 3.2))


def test_ladder_channel_carries_the_sum() -> None:
    assert {2: pytest.approx(9.9)} == channel_targets(LADDER, (3.3, 3.3, 3.3))


def test_ladder_refuses_unequal_cells() -> None:
    with pytest.raises(MisuseError, match=r"expected equal cells on a ladder, got 3\.2000 V to"):
        channel_targets(LADDER, (3.3, 3.2, 3.3))


def test_wrong_number_of_cells_is_refused() -> None:
    with pytest.raises(MisuseError, match="expected 3 values, got 2"):
        channel_targets(SERIES, (3.3, 3.2))


def test_ramp_never_runs_ahead_of_its_slope() -> None:
    """At any time the stack has moved at most slope x (time + lead)."""
    ramp = plan_ramp({}, {1: 3.0, 2: 3.0, 3: 3.0}, Ceilings(ramp_volts_per_second=10.0))
    done = 0.0
    for elapsed in np.arange(0.0, 1.2, 0.05):
        values, done = ramp.at(float(elapsed), done)
        assert sum(values.values()) <= 10.0 * (elapsed + RAMP_LEAD_SECONDS) + 1e-9
    assert 9.0 == pytest.approx(sum(values.values()))


def test_a_stalled_computer_resumes_a_ramp_in_bounded_steps() -> None:
    """After a long stall the next increment is still at most `step_volts`."""
    ramp = plan_ramp({}, {1: 40.0}, Ceilings(step_volts=2.0))
    values, _ = ramp.at(1000.0, 6.0)
    assert 8.0 == pytest.approx(values[1])


def test_ramp_down_moves_every_channel_in_proportion() -> None:
    ramp = plan_ramp({1: 4.0, 2: 2.0}, {1: 2.0, 2: 1.0}, Ceilings(ramp_volts_per_second=1.0))
    values, _ = ramp.at(1.5 - RAMP_LEAD_SECONDS, 1.0)
    assert {1: pytest.approx(3.0), 2: pytest.approx(1.5)} == values


def lag_of(steps: dict[float, float], seconds: float, tau: float) -> float:
    """The lag of one filter at `seconds` after steps in volts by moment."""
    lag = FilterLag(1)
    for moment, volts in steps.items():
        lag.step(volts, moment)
    return float(lag.volts_at(seconds, tau)[0])


def test_lag_after_one_step_decays_with_the_time_constant() -> None:
    assert pytest.approx(0.5) == lag_of({7.0: 0.5}, 7.0, tau=0.1)
    assert pytest.approx(0.5 * np.exp(-2.0)) == lag_of({7.0: 0.5}, 7.2, tau=0.1)


def test_lag_after_many_small_steps_is_that_of_a_ramp() -> None:
    """S tau (1 - exp(-T/tau)): the response to a ramp, which fine steps come to."""
    steps = {float(moment): 0.0001 for moment in np.linspace(0.0, 0.25, 2501)[1:]}
    assert pytest.approx(0.1 * (1 - np.exp(-2.5)), rel=1e-3) == lag_of(steps, 0.25, tau=0.1)


def test_lag_after_a_stalled_ramp_is_larger() -> None:
    """The last step of a computer that stalled is a large one, and counts as such."""
    smooth = lag_of({1.0: 0.1, 1.1: 0.1, 1.2: 0.1, 1.3: 0.1}, 1.3, tau=0.1)
    assert lag_of({1.0: 0.1, 1.3: 0.3}, 1.3, tau=0.1) > 1.5 * smooth


def test_no_filter_no_lag() -> None:
    assert 0.0 == lag_of({7.0: 0.5}, 7.0, tau=0.0)


def test_a_step_adds_to_what_is_left_of_the_one_before() -> None:
    """Half a second of 0.3 s leaves 19 % of the first volt, on top of the second step."""
    expected = np.exp(-0.5 / 0.3) + 0.01
    assert pytest.approx(expected) == lag_of({0.0: 1.0, 0.5: 0.01}, 0.5, tau=0.3)


def test_a_step_of_nothing_leaves_the_last_one_as_it_was() -> None:
    lag = FilterLag(2)
    lag.step([0.0, -1.0], 5.0)
    lag.step([0.0, 0.0], 6.0)
    assert 5.0 == lag.last_step_seconds
    assert [0.0, pytest.approx(np.exp(-1.0))] == lag.volts_at(6.0, [1.0, 1.0]).tolist()


def test_steps_of_a_stalled_ramp_stay_below_the_ceiling_after_rounding() -> None:
    """Twelve set-points rounded to 1 mV at both ends of the largest step."""
    resolution, ceilings = 0.001, Ceilings(step_volts=6.0)
    targets = {channel: 2.98 + 0.04 * channel for channel in range(1, 13)}
    ramp = plan_ramp({}, targets, ceilings, resolution)
    now, done, steps = np.zeros(12), 0.0, []
    while done < ramp.total_volts:
        values, done = ramp.at(1000.0, done)
        then = np.round(np.array(list(values.values())) / resolution) * resolution
        steps.append(float(np.abs(then - now).sum()))
        now = then
    assert list(targets.values()) == pytest.approx(now)
    assert max(steps) <= 6.0
