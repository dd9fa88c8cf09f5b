"""From meter readings and board frames to observations."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import numpy as np

from harness.link.board_link import TimedFrame
from harness.observation import Observation, Quantity, Source
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


def drift_between(first: Sequence[Observation], again: Sequence[Observation]) -> float:
    """Change between two sets of readings of one path; NaN with overload or without readings."""
    if not first or not again:
        return math.nan
    return abs(float(np.mean([o.value for o in again]) - np.mean([o.value for o in first])))
