"""The board frames that make up one settled window.

The declared time constants give the earliest moment that is worth looking at; then what was
observed decides, and the window moves on until it is settled or the time-out comes. Three
things are looked at: slope and scatter of the window; the tail of a filter slower than
declared, in all frames since the stimulus, because a slow drift hides in the noise of a short
window and what is still to come is many times larger; and, for a channel noisier than
declared, its own scatter over a longer window, so that it holds up no board. Nothing waits a
fixed worst case.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri, stdtrit

from harness.bench.readiness import TIME_CONSTANT_MARGIN
from harness.link.board_link import BoardLink, TimedFrame
from harness.metrology.settling import FALSE_ALARM, FEWEST_FOR_TAIL, SlowTail, is_settled, slow_tail
from harness.observation import FloatArray, Quantity
from harness.timebase import Clock

# So many frames tell a channel's scatter well enough to judge its drift by it, and are soon there.
FRAMES_FOR_OWN_SCATTER = 16

# Beyond these the beginning of a transient is forgotten: two-pole filters and the temperature
# of a divider are no exponentials there. The last two thirds of the time are looked at.
FRAMES_WITH_BEGINNING = 16

# More add nothing to an estimate and would cost a board that sends fast.
MOST_FRAMES_FOR_TAIL = 400


@dataclass(frozen=True)
class SettlingDemand:
    """What counts as settled for one measurement; clock seconds.

    stimulus_ended : from here on the board's approach is that of its filters.
    not_before : frames that arrived earlier are not taken.
    deadline : when to give up.
    quantity : the board quantity watched, and `channels` of it.
    budget : largest drift over the window, in the quantity's unit; noise : the board's
    declared scatter in that unit (one standard deviation, reporting step included).
    time_constant_seconds : the declared one.
    """

    stimulus_ended: float
    not_before: float
    deadline: float
    quantity: Quantity
    channels: frozenset[int]
    budget: float
    noise: float
    time_constant_seconds: float


@dataclass(frozen=True)
class FrameWindow:
    """The frames to judge, whether they did settle, and channels found slower than declared.

    slow : time constant in seconds by channel.
    """

    frames: list[TimedFrame]
    did_settle: bool
    slow: Mapping[int, float]


def settled_frames(
    link: BoardLink, clock: Clock, demand: SettlingDemand, count: int, until: float
) -> FrameWindow:
    """The frames that make up one settled window, or the last ones before the deadline.

    Parameters
    ----------
    count : fewest frames; until : clock seconds up to which frames are gladly taken too (the
        end of an overlapping reference scan).

    Raises
    ------
    BoardError : the board fell silent, was unplugged, or sends only bad frames.
    """
    watch = _Watch(link, demand, count)
    start = demand.not_before
    while True:
        is_late = clock.now() >= demand.deadline
        frames = link.wait_for_frames(count, after=min(start, demand.deadline))
        overlapping = [f for f in frames if f.monotonic <= until]
        window = overlapping if len(overlapping) >= count else frames[:count]
        tail = watch.tail()
        for candidate, by_own_scatter in ((window, False), (watch.longer(), True)):
            if watch.is_settled(candidate, tail, is_by_own_scatter=by_own_scatter):
                return FrameWindow(candidate, True, watch.slow(tail))
        if is_late or clock.now() >= demand.deadline:
            return FrameWindow(window, False, watch.slow(tail))
        start = watch.next_start(window, tail, clock.now())


class _Watch:
    """The watched values of a link's frames under one demand."""

    def __init__(self, link: BoardLink, demand: SettlingDemand, count: int) -> None:
        self._link, self._demand, self._count = link, demand, count
        self._columns = [
            (i, channel)
            for i, (quantity, channel) in enumerate(link.columns)
            if quantity == demand.quantity and channel in demand.channels
        ]

    def tail(self) -> SlowTail:
        """What filters slower than declared still have to go."""
        # The first may have been sampled before the stimulus ended, and arrived after.
        frames = self._link.frames_after(self._demand.stimulus_ended)[1:][-MOST_FRAMES_FOR_TAIL:]
        if len(frames) > FRAMES_WITH_BEGINNING:
            last, third = frames[-1].monotonic, frames[0].monotonic
            third += (last - third) / 3.0
            frames = [f for f in frames if f.monotonic >= third]
        return slow_tail(
            sample_times(frames),
            self._values(frames),
            self._demand.noise,
            TIME_CONSTANT_MARGIN * self._demand.time_constant_seconds,
        )

    def slow(self, tail: SlowTail) -> Mapping[int, float]:
        """The time constants of `tail` by channel."""
        return {
            self._columns[i][1]: float(tail.time_constant_seconds[i])
            for i in np.flatnonzero(tail.is_slow)
        }

    def longer(self) -> list[TimedFrame]:
        """The newest frames, enough to tell a channel's own scatter; fewer when not yet there."""
        most = max(self._count, FRAMES_FOR_OWN_SCATTER)
        return self._link.frames_after(self._demand.not_before)[-most:]

    def is_settled(
        self, frames: Sequence[TimedFrame], tail: SlowTail, *, is_by_own_scatter: bool
    ) -> bool:
        """Whether slope, scatter and tail of the watched values are inside the budget.

        By its own scatter a channel that is noisier than declared, and does not drift, counts
        as settled: how much it may scatter is for repeatability and the noise check to say.
        """
        if not self._columns:
            return True
        if is_by_own_scatter and len(frames) < FRAMES_FOR_OWN_SCATTER:
            return False
        values = self._values(frames)
        present = ~np.isnan(values).any(axis=0)
        seen = values[:, present]
        noise = np.full(seen.shape[1], self._demand.noise)
        if is_by_own_scatter:
            noise = np.maximum(noise, _own_scatter(seen))
        times = _times(frames)
        is_level = np.all(is_settled(times, seen, noise, self._demand.budget))
        return bool(is_level and np.all(tail.mean_left(times)[present] <= self._allowed(times)))

    def _allowed(self, times: FloatArray) -> float:
        """Mean of a tail that enters the window with the budget and decays as declared.

        This is what the uncertainty budget states as settling residual.
        """
        since, tau = times - times[0], self._demand.time_constant_seconds
        share = np.exp(-since / tau) if tau > 0 else np.where(since > 0, 0.0, 1.0)
        return self._demand.budget * float(share.mean())

    def next_start(self, window: Sequence[TimedFrame], tail: SlowTail, now: float) -> float:
        """From when on to look next: a frame later, or when the tail will be gone.

        Far from there, half way, and never further ahead than has been seen since the stimulus:
        the estimate grows better as frames come, and a few noisy ones may look like a tail.
        """
        soonest = window[0].monotonic
        ready = tail.ready_seconds(self._demand.budget / self._count)
        if ready - now > 2 * (window[-1].monotonic - soonest):
            ready = now + min((ready - now) / 2, now - self._demand.stimulus_ended)
        return max(soonest, ready)

    def _values(self, frames: Sequence[TimedFrame]) -> FloatArray:
        """Watched values, shape (frames, channels)."""
        picked = [i for i, _ in self._columns]
        return np.array([[f.frame.values[i] for i in picked] for f in frames]).reshape(
            len(frames), len(picked)
        )


def _times(frames: Sequence[TimedFrame]) -> FloatArray:
    return np.array([f.monotonic for f in frames], dtype=np.float64)


def sample_times(frames: Sequence[TimedFrame]) -> FloatArray:
    """When the samples of `frames` were taken but for a constant, shape (frames,), seconds.

    A board samples on its own even schedule, while stamps of arrival are late by whatever the
    computer was busy with: 10 ms are 10 mV where a filter still moves by 1 V/s. So the line
    through the stamps over uptime, sequence number or place is taken, the first of these that
    keeps within a period of all stamps; else the stamps themselves.
    """
    stamps = _times(frames)
    if len(frames) < FEWEST_FOR_TAIL:
        return stamps
    counts = (
        [f.frame.uptime_seconds for f in frames],
        [f.frame.sequence for f in frames],
        list(range(len(frames))),
    )
    for count in counts:
        if None not in count:
            line = _line(np.array(count, dtype=np.float64), stamps)
            if line is not None:
                return line
    return stamps


def _line(count: FloatArray, stamps: FloatArray) -> FloatArray | None:
    """The least-squares line of `stamps` over `count`, None where it does not fit."""
    if not (np.diff(count) > 0).all():
        return None
    x = count - count.mean()
    slope = float(x @ stamps / (x @ x))
    line: FloatArray = stamps.mean() + slope * x
    period = slope * float(np.median(np.diff(count)))
    return line if np.abs(line - stamps).max() < period else None


def _own_scatter(values: FloatArray) -> FloatArray:
    """Standard deviation of each column, shape (n,), with the allowance for its being a guess.

    From the median size of successive differences, which is 0.6745 sqrt(2) s for normal noise:
    neither a drift nor the rest of a transient in the first frames moves it much. Student's t
    over the normal quantile is the allowance for few frames, which `is_settled` cannot know.
    """
    deviation = np.median(np.abs(np.diff(values, axis=0)), axis=0) / (ndtri(0.75) * math.sqrt(2))
    tail = FALSE_ALARM / 2
    ratio = float(stdtrit(len(values) - 2, tail) / ndtri(tail))
    found: FloatArray = deviation * ratio
    return found
