"""Clocks: real time as it passes, and simulated time that runs in proportion."""

from __future__ import annotations

import time

import pytest

from harness import timebase
from harness.timebase import SHORTEST_REAL_TIMEOUT_SECONDS, RealClock, ScaledClock


@pytest.fixture
def slept(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """What was asked of the operating system's sleep; nothing really sleeps."""
    asked: list[float] = []
    monkeypatch.setattr(timebase.time, "sleep", asked.append)
    return asked


@pytest.fixture
def monotonic(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """The operating system's monotonic seconds, to be set by the test."""
    at = [1000.0]
    monkeypatch.setattr(timebase.time, "monotonic", lambda: at[0])
    return at


def test_a_real_clock_is_the_operating_systems(monotonic: list[float]) -> None:
    monotonic[0] = 1234.5
    assert 1234.5 == RealClock().now()


def test_a_real_clocks_wall_is_the_operating_systems() -> None:
    before = time.time()
    assert before <= RealClock().wall() <= time.time()


def test_a_real_clock_sleeps_as_long_as_asked(slept: list[float]) -> None:
    RealClock().sleep(1.5)
    assert [1.5] == slept


@pytest.mark.parametrize("clock", [RealClock(), ScaledClock(8.0)])
@pytest.mark.parametrize("seconds", [0.0, -1.0])
def test_no_clock_sleeps_for_nothing(
    clock: RealClock | ScaledClock, seconds: float, slept: list[float]
) -> None:
    clock.sleep(seconds)
    assert [] == slept


def test_a_real_clock_leaves_seconds_as_they_are() -> None:
    assert (0.01, 0.01) == (RealClock().real_seconds(0.01), RealClock().real_timeout(0.01))


def test_a_scaled_clock_begins_at_zero(monotonic: list[float]) -> None:
    assert 0.0 == ScaledClock(8.0, epoch_monotonic=1000.0).now()


def test_a_scaled_clock_runs_in_proportion(monotonic: list[float]) -> None:
    clock = ScaledClock(8.0, epoch_monotonic=1000.0)
    monotonic[0] += 2.5
    assert 20.0 == clock.now()


def test_a_scaled_clocks_wall_advances_with_it(monotonic: list[float]) -> None:
    clock = ScaledClock(4.0, epoch_monotonic=1000.0, epoch_wall=5000.0)
    monotonic[0] += 10.0
    assert 5040.0 == clock.wall()


def test_a_scaled_clock_sleeps_shorter(slept: list[float]) -> None:
    ScaledClock(8.0).sleep(4.0)
    assert [0.5] == slept


def test_two_scaled_clocks_of_one_epoch_agree(monotonic: list[float]) -> None:
    """As the harness and the simulated bench do, each in its own process."""
    first = ScaledClock(5.0)
    monotonic[0] += 3.0
    second = ScaledClock(5.0, first.epoch_monotonic, first.epoch_wall)
    assert (first.now(), first.wall()) == (second.now(), second.wall())


def test_scaled_seconds_in_real_ones() -> None:
    assert 0.25 == ScaledClock(8.0).real_seconds(2.0)


def test_a_scaled_timeout_outlasts_a_busy_machine() -> None:
    assert SHORTEST_REAL_TIMEOUT_SECONDS == ScaledClock(50.0).real_timeout(1.0)


def test_a_long_scaled_timeout_is_scaled() -> None:
    assert 5.0 == ScaledClock(8.0).real_timeout(40.0)


@pytest.mark.parametrize("speed", [0.0, -1.0, float("nan")])
def test_a_speed_must_be_above_zero(speed: float) -> None:
    with pytest.raises(ValueError, match="speed: expected a number above 0, got"):
        ScaledClock(speed)
