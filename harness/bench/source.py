"""How cell targets become supply set-points, and how fast they may be approached.

Pure: it computes set-points; `harness.bench.workbench` sends them through the safety envelope.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from harness.descriptions.bench import Ceilings, Wiring
from harness.errors import MisuseError
from harness.observation import FloatArray

# A ladder divides one voltage into equal parts; targets that differ by more than this ask for
# what it cannot do. 1 mV is below any difference a check asks for on purpose.
LADDER_EQUALITY_VOLTS = 1.0e-3

# The first increment of a ramp, as time at the ramp's slope: it lets small moves be made in
# one step. 20 ms at 10 V/s is 0.2 V over the whole stack.
RAMP_LEAD_SECONDS = 0.02

# Steps older than these have died away: at least three minutes of uninterrupted ramps.
KEPT_STEPS = 4096


def channel_targets(wiring: Wiring, cell_volts: Sequence[float]) -> dict[int, float]:
    """Supply set-points, in volts by channel number, that give `cell_volts` (shape (cells,)).

    Series: channel of cell k carries cell k. Ladder: the one channel carries the sum.

    Raises
    ------
    MisuseError : wrong number of cells, or unequal cells on a ladder.
    """
    if len(cell_volts) != wiring.cells:
        raise MisuseError(f"cell targets: expected {wiring.cells} values, got {len(cell_volts)}")
    if wiring.topology == "series":
        return dict(zip(wiring.channels, map(float, cell_volts), strict=True))
    if max(cell_volts) - min(cell_volts) > LADDER_EQUALITY_VOLTS:
        raise MisuseError(
            "cell targets: expected equal cells on a ladder, got "
            f"{min(cell_volts):.4f} V to {max(cell_volts):.4f} V"
        )
    return {wiring.channels[0]: float(sum(cell_volts))}


@dataclass(frozen=True)
class Ramp:
    """A straight approach of all channels at a bounded slope of the stack's total.

    start, delta : volts by channel, aligned arrays, shape (channels,).
    total_volts : sum of the absolute changes; seconds : shortest time the slope allows.
    """

    channels: tuple[int, ...]
    start: FloatArray
    delta: FloatArray
    total_volts: float
    step_volts: float
    volts_per_second: float

    @property
    def seconds(self) -> float:
        """Time the whole change takes at the permitted slope."""
        return self.total_volts / self.volts_per_second

    def at(self, elapsed_seconds: float, done_volts: float) -> tuple[dict[int, float], float]:
        """Set-points due `elapsed_seconds` after the start, and the volts done with them.

        `done_volts` is the part of `total_volts` already done; the advance from there is at
        most `step_volts` whatever the clock says, so that a stalled computer resumes gently.
        """
        allowed = self.volts_per_second * (elapsed_seconds + RAMP_LEAD_SECONDS)
        reached = min(self.total_volts, allowed, done_volts + self.step_volts)
        share = reached / self.total_volts if self.total_volts > 0 else 1.0
        values = self.start + self.delta * share
        return dict(zip(self.channels, map(float, values), strict=True)), reached


def plan_ramp(
    now_volts: Mapping[int, float],
    targets: Mapping[int, float],
    ceilings: Ceilings,
    resolution_volts: float = 0.0,
) -> Ramp:
    """The ramp from the present set-points to `targets` (volts by channel).

    Parameters
    ----------
    resolution_volts : of the supply, to which each set-point will be rounded at both ends of
        a step; a step leaves room for that under the ceiling.
    """
    channels = tuple(targets)
    rounding = min(resolution_volts * len(channels), ceilings.step_volts / 2)
    start = np.array([now_volts.get(channel, 0.0) for channel in channels])
    delta = np.array([targets[channel] for channel in channels]) - start
    return Ramp(
        channels=channels,
        start=start,
        delta=delta,
        total_volts=float(np.abs(delta).sum()),
        step_volts=ceilings.step_volts - rounding,
        volts_per_second=ceilings.ramp_volts_per_second,
    )


class FilterLag:
    """How far first-order filters can be behind their inputs after steps at known moments.

    Each step adds to what is left of those before: between steps the lag falls as
    exp(-t/tau) (response of a first-order low-pass: common practice). Steps are kept, so that
    a time constant may be learnt after they were made.

    Parameters
    ----------
    channels : how many filters.
    """

    def __init__(self, channels: int) -> None:
        self._steps: deque[tuple[float, FloatArray]] = deque(maxlen=KEPT_STEPS)
        self._channels = channels

    @property
    def last_step_seconds(self) -> float:
        """The moment of the last step, clock seconds; minus infinity before the first."""
        return self._steps[-1][0] if self._steps else -math.inf

    def step(self, volts: ArrayLike, now_seconds: float) -> None:
        """The inputs moved by `volts`, shape (channels,), at the latest at `now_seconds`.

        Signs do not count, so opposite steps add up; 0 V at all channels is no step.
        """
        moved = np.abs(np.broadcast_to(np.asarray(volts, dtype=np.float64), (self._channels,)))
        if moved.any():
            self._steps.append((now_seconds, moved.copy()))

    def volts_at(self, now_seconds: float, time_constants_seconds: ArrayLike) -> FloatArray:
        """The lags at a moment not before the last step, shape (channels,).

        time_constants_seconds : scalar or shape (channels,), >= 0; 0 gives no lag.
        """
        tau = np.broadcast_to(np.asarray(time_constants_seconds, np.float64), (self._channels,))
        if not self._steps:
            return np.zeros(self._channels)
        since = now_seconds - np.array([moment for moment, _ in self._steps])
        safe = np.where(tau > 0, tau, 1.0)
        left = np.stack([volts for _, volts in self._steps]) * np.exp(-since[:, None] / safe)
        return np.where(tau > 0, left.sum(axis=0), 0.0)
