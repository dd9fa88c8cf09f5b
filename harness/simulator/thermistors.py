"""A board's thermistor inputs: resistance to divider ratio, and the firmware's way back.

The sensor pulls a node to ground that a pull-up holds at the reference, so the ratio of node
to reference is R / (R + pull-up). The firmware knows only the declared pull-up and curve.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from harness.descriptions.board import ThermistorInput
from harness.descriptions.curve import CurveDescription
from harness.descriptions.curve_values import curve_value
from harness.simulator.draws import ThermistorErrors

# Ratios beyond which the firmware takes the input for open or shorted: 1 megohm and 100 ohm
# at a pull-up of 10 kilohm, outside -40 to 125 degC of the usual 10 kilohm thermistors.
OPEN_RATIO = 0.99
SHORT_RATIO = 0.01


def divider_ratio(errors: ThermistorErrors, ohms: float) -> float:
    """Ratio of the divider with `ohms` injected (math.inf is open), errors included.

    Series resistance adds to the sensor, leakage lies in parallel to both.
    """
    fault = errors.fault
    sensor = math.inf if fault.is_unconnected else ohms + fault.series_ohms
    if fault.leakage_ohms is not None:
        sensor = 1.0 / (1.0 / sensor + 1.0 / fault.leakage_ohms)
    return 1.0 if math.isinf(sensor) else sensor / (sensor + errors.pull_up_ohms)


@dataclass(frozen=True)
class ThermistorState:
    """What the firmware says of one input; `celsius` before noise and rounding."""

    celsius: float
    is_open: bool
    is_short: bool


class ThermistorFirmware:
    """Turns divider ratios into temperatures, as the board's firmware does."""

    def __init__(
        self, declared: ThermistorInput, curve: CurveDescription, errors: ThermistorErrors
    ) -> None:
        self._declared = declared
        self._curve = curve_value(curve)
        self._span = (curve.lowest_celsius, curve.highest_celsius)
        self._fault = errors.fault

    def state(self, ratio: float) -> ThermistorState:
        """The state shown for a filtered divider ratio.

        An open or short input shows the declared sentinel, or the end of the curve where none
        is declared or where the firmware notices nothing.
        """
        seen = ratio * (1 + self._fault.adc_gain) + self._fault.adc_offset
        low, high = self._span
        if OPEN_RATIO > seen > SHORT_RATIO:
            return ThermistorState(self.celsius(seen), False, False)
        is_open = seen >= OPEN_RATIO
        if self._fault.has_no_flags:
            return ThermistorState(low if is_open else high, False, False)
        if is_open:
            return ThermistorState(_or_else(self._declared.open_reads_celsius, low), True, False)
        return ThermistorState(_or_else(self._declared.short_reads_celsius, high), False, True)

    def celsius(self, ratio: float) -> float:
        """Temperature that the firmware computes from a ratio between 0 and 1."""
        ohms = self._declared.pull_up_ohms * ratio / (1 - ratio)
        low, high = self._span
        return min(high, max(low, float(self._curve.temperature(ohms))))


def _or_else(value: float | None, default: float) -> float:
    return default if value is None else value
