"""What is said of a run's time."""

from __future__ import annotations

from harness.cli.conducting import timing_line
from harness.run.executor import RunTiming

TIMING = RunTiming(taken_seconds=31.0, floor_seconds=29.2)


def test_at_real_time_floor_time_and_ratio_are_told() -> None:
    assert "physical floor 29.2 s, taken 31.0 s, ratio 1.06" == timing_line(TIMING, 1.0)


def test_on_a_fast_clock_the_computers_own_time_is_said_to_count_more() -> None:
    assert timing_line(TIMING, 3.0).endswith(
        "ratio 1.06 (clock 3 times real time: the computer's own time counts 3-fold)"
    )
