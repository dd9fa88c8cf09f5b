"""What a board says about a thermistor, frame by frame: a temperature, open, short, no value.

Only what is declared counts as telling a fault: a flag field, the declared reading for an
open or short circuit, or a value marked invalid. An odd temperature tells nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np

from harness.descriptions.board import ThermistorInput
from harness.observation import FloatArray, IntArray, Quantity


class State(IntEnum):
    """What one frame says about one thermistor; `NO_VALUE` tells a fault without its kind."""

    TEMPERATURE = 0
    OPEN = 1
    SHORT = 2
    NO_VALUE = 3


@dataclass(frozen=True)
class FrameStates:
    """One thermistor's frames in order of time; arrays of shape (frames,).

    monotonic : seconds. celsius : NaN where the board sent none. state : `State` codes.
    """

    monotonic: FloatArray
    celsius: FloatArray
    state: IntArray

    def after(self, moment: float) -> FrameStates:
        """The frames at or after `moment` (seconds)."""
        return self._where(self.monotonic >= moment)

    def before(self, moment: float) -> FrameStates:
        """The frames before `moment` (seconds)."""
        return self._where(self.monotonic < moment)

    def _where(self, mask: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> FrameStates:
        return FrameStates(self.monotonic[mask], self.celsius[mask], self.state[mask])


def telling(fault: str) -> tuple[State, State]:
    """The states that tell `fault` ("open" or "short")."""
    return (State.OPEN if fault == "open" else State.SHORT, State.NO_VALUE)


def frame_states(
    monotonic: FloatArray, quantity: IntArray, value: FloatArray, declared: ThermistorInput
) -> FrameStates:
    """The states of one thermistor from its board observations, arrays of shape (rows,).

    Rows of one frame share their time. A frame without a temperature field has NaN there and
    counts by its flags alone.
    """
    times = np.unique(monotonic)
    columns = {
        q: _column(times, monotonic, value, quantity == q)
        for q in (Quantity.TEMPERATURE, Quantity.THERMISTOR_OPEN, Quantity.THERMISTOR_SHORT)
    }
    celsius = columns[Quantity.TEMPERATURE]
    has_field = bool((quantity == Quantity.TEMPERATURE).any())
    is_open = columns[Quantity.THERMISTOR_OPEN] > 0
    is_short = columns[Quantity.THERMISTOR_SHORT] > 0
    is_flagged = is_open | is_short
    is_open |= ~is_flagged & _reads(celsius, declared.open_reads_celsius, declared)
    is_short |= ~is_flagged & _reads(celsius, declared.short_reads_celsius, declared)
    state = np.full(len(times), int(State.TEMPERATURE), dtype=np.int64)
    state[is_open] = State.OPEN
    state[is_short] = State.SHORT
    is_silent = np.isnan(celsius) & ~is_flagged & has_field
    state[is_silent | (is_open & is_short)] = State.NO_VALUE
    return FrameStates(times, celsius, state)


def _column(
    times: FloatArray,
    monotonic: FloatArray,
    value: FloatArray,
    rows: np.ndarray[tuple[int], np.dtype[np.bool_]],
) -> FloatArray:
    """The values of `rows` at each of `times`, NaN where there is none."""
    found = np.full(len(times), np.nan)
    found[np.searchsorted(times, monotonic[rows])] = value[rows]
    return found


def _reads(
    celsius: FloatArray, sentinel: float | None, declared: ThermistorInput
) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Where the reading is the declared one, to within one reporting step."""
    if sentinel is None:
        return np.zeros(len(celsius), dtype=bool)
    return np.asarray(np.abs(celsius - sentinel) <= declared.resolution_celsius, dtype=bool)
