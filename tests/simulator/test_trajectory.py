"""Exactness of slewing sources and of filters, against fine numerical integration."""

from __future__ import annotations

import math

import numpy as np
import pytest

from harness.simulator.trajectory import SlewedSources, filtered, filtered_integral


def stepped(
    output: float, start: float, end: float, seconds: float, tau: float, steps: int = 20_000
) -> tuple[float, float]:
    """Filter output and its integral by classical Runge-Kutta in many small steps."""
    h, integral = seconds / steps, 0.0

    def slope(t: float, y: float) -> float:
        return (start + (end - start) * t / seconds - y) / tau

    for i in range(steps):
        t = i * h
        k1 = slope(t, output)
        k2 = slope(t + h / 2, output + h / 2 * k1)
        k3 = slope(t + h / 2, output + h / 2 * k2)
        k4 = slope(t + h, output + h * k3)
        new = output + h / 6 * (k1 + 2 * k2 + 2 * k3 + k4)
        middle = (output + new) / 2 + h / 8 * (k1 - slope(t + h, new))
        integral += h / 6 * (output + 4 * middle + new)
        output = new
    return output, integral


CASES = [
    pytest.param(0.0, 1.0, 1.0, 0.01, 0.015, id="step"),
    pytest.param(3.3, 3.3, 3.5, 0.02, 0.015, id="ramp"),
    pytest.param(2.0, 3.0, -1.0, 0.1, 0.02, id="down-ramp"),
    pytest.param(1.0, 0.0, 0.5, 0.005, 0.5, id="slow-filter"),
]


@pytest.mark.parametrize(("output", "start", "end", "seconds", "tau"), CASES)
def test_filter_is_exact(
    output: float, start: float, end: float, seconds: float, tau: float
) -> None:
    """One jump over the whole piece agrees with twenty thousand small steps."""
    expected, expected_integral = stepped(output, start, end, seconds, tau)
    arrays = [np.array([v]) for v in (output, start, end)]
    found = filtered(*arrays, seconds, np.array([tau]))
    integral = filtered_integral(arrays[0], found, arrays[1], arrays[2], seconds, np.array([tau]))
    assert pytest.approx(expected, abs=1e-11) == found[0]
    assert pytest.approx(expected_integral, abs=1e-10) == integral[0]


def test_no_time_constant_is_no_filter() -> None:
    """With tau = 0 the output is the input."""
    found = filtered(np.zeros(1), np.ones(1), np.full(1, 2.0), 0.1, np.zeros(1))
    assert pytest.approx([2.0], abs=0) == found


def test_one_time_constant_leaves_1_over_e() -> None:
    """A step of 1 V is at 1 - 1/e after tau."""
    found = filtered(np.zeros(1), np.ones(1), np.ones(1), 0.02, np.full(1, 0.02))
    assert pytest.approx(1 - math.exp(-1)) == found[0]


def test_pieces_join() -> None:
    """Two half pieces give what one whole piece gives."""
    tau, zero = np.full(1, 0.015), np.zeros(1)
    whole = filtered(zero, np.ones(1), np.full(1, 3.0), 0.02, tau)
    half = filtered(zero, np.ones(1), np.full(1, 2.0), 0.01, tau)
    assert (
        pytest.approx(whole[0], abs=1e-14)
        == filtered(half, np.full(1, 2.0), np.full(1, 3.0), 0.01, tau)[0]
    )


def test_source_moves_at_its_slew_and_stops() -> None:
    """3 V at 200 V/s takes 15 ms."""
    sources = SlewedSources(2, 200.0)
    sources.targets[:] = 3.0, 0.0
    assert pytest.approx(0.015) == sources.seconds_to_next_arrival()
    assert pytest.approx([1.0, 0.0]) == sources.after(0.005)
    assert pytest.approx([3.0, 0.0], abs=0) == sources.after(0.02)


def test_arrival_ends_the_movement() -> None:
    """After exactly the time to the next arrival nothing moves, without rounding remains."""
    sources = SlewedSources(1, 7.0)
    sources.targets[:] = 3.3
    sources.volts = sources.after(sources.seconds_to_next_arrival())
    assert not sources.is_moving
