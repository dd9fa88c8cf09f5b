"""Source voltages in time and the board's input filters, both exact between events.

A source moves at its slew rate towards its set-point and stops there, so it is piecewise
linear in time; a first-order filter of a piecewise linear input has a closed solution. Nothing
here steps through time.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from harness.observation import FloatArray

# Stands for no filter: a nanosecond is shorter than anything a bench can do.
SHORTEST_TIME_CONSTANT_SECONDS = 1.0e-9


def filtered(
    output: FloatArray,
    start: FloatArray,
    end: FloatArray,
    seconds: float,
    time_constants_seconds: FloatArray,
) -> FloatArray:
    """Output of first-order filters after `seconds` of an input that moved in a straight line.

    Parameters
    ----------
    output : filter outputs at the beginning, shape (filters,).
    start, end : inputs at the beginning and at the end, shape (filters,).
    time_constants_seconds : shape (filters,); 0 means no filter.

    Notes
    -----
    Solution of tau y' + y = p(t) with p(t) = p0 + s t:
    y(t) = p(t) - s tau + (y0 - p0 + s tau) exp(-t / tau) (textbook result for a ramp input).
    """
    if seconds <= 0:
        return output
    decay = np.exp(-seconds / np.maximum(time_constants_seconds, SHORTEST_TIME_CONSTANT_SECONDS))
    if start is end:
        settling: FloatArray = end + (output - end) * decay
        return settling
    lag = (end - start) * (time_constants_seconds / seconds)
    result: FloatArray = end - lag + (output - start + lag) * decay
    return result


def filtered_integral(
    output_start: FloatArray,
    output_end: FloatArray,
    start: FloatArray,
    end: FloatArray,
    seconds: float,
    time_constants_seconds: FloatArray,
) -> FloatArray:
    """Integral over time of the filter output between two moments.

    From tau y' + y = p follows: integral of y = integral of p - tau (y1 - y0), exactly.
    """
    result: FloatArray = (start + end) * (seconds / 2) - time_constants_seconds * (
        output_end - output_start
    )
    return result


@dataclass
class SlewedSources:
    """Voltages that move towards their targets at a bounded slope.

    volts, targets : shape (channels,); slew : volts per second, the same for all.
    """

    channels: int
    slew_volts_per_second: float
    volts: FloatArray = field(init=False)
    targets: FloatArray = field(init=False)

    def __post_init__(self) -> None:
        self.volts = np.zeros(self.channels)
        self.targets = np.zeros(self.channels)

    @property
    def is_moving(self) -> bool:
        """Whether any channel is under way."""
        return bool((self.volts != self.targets).any())

    def after(self, seconds: float) -> FloatArray:
        """Voltages `seconds` from now, if no target changes."""
        most = self.slew_volts_per_second * seconds
        remaining = self.targets - self.volts
        arrived = np.abs(remaining) <= most * (1 + 1e-12)
        result: FloatArray = np.where(
            arrived, self.targets, self.volts + np.clip(remaining, -most, most)
        )
        return result

    def seconds_to_next_arrival(self) -> float:
        """Time until the next channel reaches its target; inf when none is moving."""
        remaining = np.abs(self.targets - self.volts)
        moving = remaining[remaining > 0]
        return float(moving.min()) / self.slew_volts_per_second if moving.size else math.inf

    def rates(self) -> FloatArray:
        """Present slopes, volts per second, shape (channels,)."""
        result: FloatArray = np.sign(self.targets - self.volts) * self.slew_volts_per_second
        return result
