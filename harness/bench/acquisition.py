"""Overlapped, adaptively settled measurement: the meter scans while board frames come in.

Two rules decide when a point is settled. The declared time constants give the earliest moment
that is worth looking at; slope and scatter of what was then observed decide whether it is
settled, and the window moves on until it is or the plan's time-out comes. A channel noisier
than declared holds up no board: over a longer window it is judged by its own scatter. Nothing
waits a fixed worst case. The reference scan is repeated when its own bracket has drifted.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri, stdtrit

from harness.link.board_link import BoardLink, TimedFrame
from harness.metrology.settling import FALSE_ALARM, is_settled
from harness.observation import FloatArray, Observation, Quantity, Source
from harness.protocols.scpi_reply import Reading, ReadingState
from harness.timebase import Clock

# Fields of a frame that become observations; the rest (sequence, uptime) is the link's own.
OBSERVED = frozenset(
    {
        Quantity.CELL_VOLTAGE,
        Quantity.STACK_VOLTAGE,
        Quantity.TEMPERATURE,
        Quantity.THERMISTOR_OPEN,
        Quantity.THERMISTOR_SHORT,
    }
)


# So many frames tell a channel's scatter well enough to judge its drift by it, and are soon there.
FRAMES_FOR_OWN_SCATTER = 16


@dataclass(frozen=True)
class SettlingDemand:
    """What counts as settled for one measurement.

    not_before : clock seconds; frames that arrived earlier are not looked at.
    quantity : the board quantity watched, and `channels` of it.
    budget : largest drift over the window, in the quantity's unit; noise : the board's
    declared scatter in that unit (one standard deviation, reporting step included).
    """

    not_before: float
    quantity: Quantity
    channels: frozenset[int]
    budget: float
    noise: float
    timeout_seconds: float


def reading_value(reading: Reading) -> float:
    """The number of a good reading, NaN for overload and not-a-number."""
    return reading.value if reading.state is ReadingState.GOOD else math.nan


def reference_observations(
    readings: Iterable[Reading],
    quantity: Quantity,
    channel: int,
    clock: Clock,
    first_sequence: int = 0,
    source: Source = Source.REFERENCE,
) -> list[Observation]:
    """Observations of meter readings just taken; overload and the like become NaN with raw."""
    wall, now = clock.wall(), clock.now()
    return [
        Observation(
            source, quantity, channel, first_sequence + i, reading_value(r), wall, now, r.raw
        )
        for i, r in enumerate(readings)
    ]


def frame_observations(
    frames: Sequence[TimedFrame], columns: Sequence[tuple[object, int]]
) -> list[Observation]:
    """Board observations of `frames`; the raw frame text stands with its first value."""
    wanted = [
        (i, Quantity(quantity), channel)
        for i, (quantity, channel) in enumerate(columns)
        if isinstance(quantity, Quantity) and quantity in OBSERVED
    ]
    found: list[Observation] = []
    for sequence, timed in enumerate(frames):
        raw = timed.frame.raw_text
        for i, quantity, channel in wanted:
            found.append(
                Observation(
                    Source.BOARD,
                    quantity,
                    channel,
                    sequence,
                    timed.frame.values[i],
                    timed.wall,
                    timed.monotonic,
                    raw,
                )
            )
            raw = ""
    return found


def settled_frames(
    link: BoardLink, clock: Clock, demand: SettlingDemand, count: int, until: float
) -> tuple[list[TimedFrame], bool]:
    """The frames that make up one settled window, and whether it did settle.

    Parameters
    ----------
    count : fewest frames; until : clock seconds up to which frames are gladly taken too (the
        end of an overlapping reference scan).

    Raises
    ------
    BoardError : the board fell silent, was unplugged, or sends only bad frames.
    """
    deadline = clock.now() + demand.timeout_seconds
    picked = [
        i
        for i, (quantity, channel) in enumerate(link.columns)
        if quantity == demand.quantity and channel in demand.channels
    ]
    start = demand.not_before
    while True:
        link.wait_for_frames(count, after=start)
        frames = link.frames_after(start)
        overlapping = [f for f in frames if f.monotonic <= until]
        window = overlapping if len(overlapping) >= count else frames[:count]
        if _window_is_settled(window, picked, demand):
            return window, True
        longer = link.frames_after(demand.not_before)[-max(count, FRAMES_FOR_OWN_SCATTER) :]
        if len(longer) >= FRAMES_FOR_OWN_SCATTER and _window_is_settled(
            longer, picked, demand, is_by_own_scatter=True
        ):
            return longer, True
        if clock.now() >= deadline:
            return window, False
        start = window[0].monotonic


def _window_is_settled(
    frames: Sequence[TimedFrame],
    picked: Sequence[int],
    demand: SettlingDemand,
    is_by_own_scatter: bool = False,
) -> bool:
    """Whether slope and scatter of the watched values are inside the budget.

    By its own scatter a channel that is noisier than declared, and does not drift, counts as
    settled: how much it may scatter is for repeatability and the noise check to say.
    """
    if not picked:
        return True
    times = np.array([f.monotonic for f in frames])
    values = np.array([[f.frame.values[i] for i in picked] for f in frames])
    present = ~np.isnan(values).any(axis=0)
    if not present.any():
        return True
    seen = values[:, present]
    noise = np.full(seen.shape[1], demand.noise)
    if is_by_own_scatter:
        noise = np.maximum(noise, _own_scatter(seen))
    return bool(np.all(is_settled(times, seen, noise, demand.budget)))


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


def bracketed_scan(
    take: Callable[[int, int], list[Observation]],
    cells: Sequence[int],
    budget_volts: float,
    clock: Clock,
    deadline: float,
) -> tuple[list[Observation], bool]:
    """Reference readings of `cells`, the first one again at the end; repeated while it drifts.

    Parameters
    ----------
    take : called with (cell, first_sequence), measures that cell and returns observations.
    budget_volts : largest change of the first cell between start and end of the scan.

    Returns
    -------
    The observations of the last scan, and whether its bracket held.
    """
    while True:
        found = [o for cell in cells for o in take(cell, 0)]
        if len(cells) < 2:
            return found, True
        first = [o for o in found if o.channel == cells[0]]
        again = take(cells[0], len(first))
        found += again
        drift = abs(np.mean([o.value for o in again]) - np.mean([o.value for o in first]))
        if not drift > budget_volts:  # NaN (overload) is judged later, not waited out
            return found, True
        if clock.now() >= deadline:
            return found, False
