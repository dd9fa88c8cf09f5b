"""From when on a source and the board behind its filters can be believed.

It keeps what was changed and when, and works out moments from declared time constants and from
those that a board has shown to be longer. It waits for nothing and sends nothing.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

import numpy as np

from harness.bench.source import FilterLag
from harness.descriptions.curve import CurveDescription
from harness.descriptions.curve_values import curve_value
from harness.descriptions.setup import Setup
from harness.metrology.settling import time_to_settle_seconds
from harness.observation import FloatArray

# Resistor and capacitor of an input filter are rarely closer to their nominal values than this
# together (design value within 30 %: common practice, no source). What is slower is slower
# than declared.
TIME_CONSTANT_MARGIN = 1.3

ReportEvent = Callable[[str, str, Mapping[str, object]], None]


class SlowChannels:
    """Channels that have shown to settle more slowly than declared, each reported once.

    Parameters
    ----------
    subject : what a channel is called: "cell", "thermistor".
    """

    def __init__(self, subject: str, report: ReportEvent) -> None:
        self._subject = subject
        self._report = report
        self._seconds: dict[int, float] = {}

    def learn(self, seen: Mapping[int, float]) -> None:
        """Take up time constants, seconds by channel number; the newest is the best known."""
        for channel, seconds in seen.items():
            if channel not in self._seconds:
                self._report(
                    "slow board",
                    f"board settles slower than declared: {self._subject} {channel} with a time "
                    f"constant of about {seconds:.2g} s",
                    {"channel": channel, "time_constant_seconds": seconds},
                )
            self._seconds[channel] = seconds

    def seconds(self) -> Mapping[int, float]:
        """The time constants by channel number."""
        return dict(self._seconds)


class CellReadiness:
    """What the cells were last told, and the moments that follow; clock seconds throughout."""

    def __init__(self, setup: Setup, report: ReportEvent) -> None:
        cells = setup.bench.wiring.cells
        self.volts: tuple[float, ...] = (0.0,) * cells
        self.slow = SlowChannels("cell", report)
        self._lag = FilterLag(cells)
        self._source_seconds = setup.bench.wiring.settling_seconds
        self._budget = setup.plan.settling.budget_volts
        self._declared = np.full(
            cells, TIME_CONSTANT_MARGIN * setup.board.cell_inputs.filter_time_constant_seconds
        )

    def stepped(self, volts: FloatArray, now: float) -> None:
        """The cells moved by `volts`, shape (cells,), at the latest now."""
        self._lag.step(volts, now)

    @property
    def source_ready(self) -> float:
        """From when on the source stands; minus infinity before the first step."""
        return self._lag.last_step_seconds + self._source_seconds

    @property
    def declared_ready(self) -> float:
        """From when on a board as declared, at the margin's end, is inside the budget."""
        return self._ready(self._declared, self._budget)

    def board_ready(self, frames: int) -> float:
        """From when on the board, as known by now, is inside the budget.

        The settling residual is stated for a tail that decays as declared over the mean of
        `frames`, at least budget / frames of it; a slower tail is let in only below that.
        """
        tau, budget = self._declared.copy(), np.full(len(self._declared), self._budget)
        for channel, seconds in self.slow.seconds().items():
            tau[channel - 1], budget[channel - 1] = seconds, self._budget / max(frames, 1)
        return max(self.declared_ready, self._ready(tau, budget))

    def _ready(self, tau: FloatArray, budget: FloatArray | float) -> float:
        lag = self._lag.volts_at(self._lag.last_step_seconds, tau)
        return self.source_ready + float(time_to_settle_seconds(lag, tau, budget).max())


def temperature_step(curve: CurveDescription, before_ohms: float, after_ohms: float) -> float:
    """How far a thermistor channel has to go between two injected resistances, kelvin.

    By the declared curve; its whole span when a resistance is open (infinite), short (0) or
    off the curve, because what a channel shows then is its firmware's affair.
    """
    span = curve.highest_celsius - curve.lowest_celsius
    ends = []
    for ohms in (before_ohms, after_ohms):
        if not (math.isfinite(ohms) and ohms > 0):
            return span
        ends.append(float(curve_value(curve).temperature(ohms)))
    step = abs(ends[1] - ends[0])
    return min(step, span) if math.isfinite(step) else span


class ThermistorReadiness:
    """What is injected where, and the moments that follow; clock seconds throughout."""

    def __init__(self, setup: Setup, report: ReportEvent) -> None:
        self.slow = SlowChannels("thermistor", report)
        self.decade_ready = -math.inf
        self._setup = setup
        self._ohms = dict.fromkeys(range(1, len(setup.board.thermistors) + 1), math.inf)
        self._lags = {number: FilterLag(1) for number in self._ohms}

    def injected(self, ohms: Mapping[int, float], now: float) -> None:
        """From now on `ohms` (by thermistor) are injected, and all others are open."""
        for number, before in self._ohms.items():
            after = ohms.get(number, math.inf)
            if after != before:
                step = temperature_step(self._setup.curves[number - 1], before, after)
                self._lags[number].step(step, max(now, self.decade_ready))
                self._ohms[number] = after

    def board_ready(self, thermistor: int, frames: int) -> float:
        """From when on the board, as known by now, is inside the budget.

        As `CellReadiness.board_ready`; what is left of steps before counts too, but no more
        than the whole span of the curve.
        """
        declared = self.declared_ready(thermistor)
        seconds = self.slow.seconds().get(thermistor)
        if seconds is None:
            return declared
        budget = self._setup.plan.settling.budget_celsius / max(frames, 1)
        return max(declared, self._ready(thermistor, seconds, budget))

    def declared_ready(self, thermistor: int) -> float:
        """From when on a board as declared, at the margin's end, is inside the budget."""
        channel = self._setup.board.thermistors[thermistor - 1]
        tau = TIME_CONSTANT_MARGIN * channel.filter_time_constant_seconds
        return self._ready(thermistor, tau, self._setup.plan.settling.budget_celsius)

    def _ready(self, thermistor: int, tau: float, budget: float) -> float:
        lag, curve = self._lags[thermistor], self._setup.curves[thermistor - 1]
        left = float(lag.volts_at(lag.last_step_seconds, tau)[0])
        most = curve.highest_celsius - curve.lowest_celsius
        wait = time_to_settle_seconds(min(left, most), tau, budget)
        return lag.last_step_seconds + float(wait)
