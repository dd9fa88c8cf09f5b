"""What a board says about a thermistor, frame by frame: a temperature, open, short, no value.

Only what is declared counts as telling a fault: a flag field, the declared reading for an
open or short circuit, or a value marked invalid. An odd temperature tells nothing, and a flag
tells nothing while the frame still shows a temperature that one could believe.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np

from harness.checks.samples import BoolArray
from harness.descriptions.board import ThermistorInput
from harness.observation import FloatArray, IntArray, Quantity


class State(IntEnum):
    """What one frame says about one thermistor; `NO_VALUE` tells a fault without its kind.

    `BOTH` : open and short at once, which is neither.
    """

    TEMPERATURE = 0
    OPEN = 1
    SHORT = 2
    NO_VALUE = 3
    BOTH = 4


@dataclass(frozen=True)
class FrameStates:
    """One thermistor's frames in order of time; arrays of shape (frames,).

    monotonic : seconds. celsius : NaN where the board sent none. state : `State` codes.
    is_plausible : the reading is on the curve and not the declared one for a fault.
    """

    monotonic: FloatArray
    celsius: FloatArray
    state: IntArray
    is_plausible: BoolArray

    def after(self, moment: float) -> FrameStates:
        """The frames at or after `moment` (seconds)."""
        return self._where(self.monotonic >= moment)

    def before(self, moment: float) -> FrameStates:
        """The frames before `moment` (seconds)."""
        return self._where(self.monotonic < moment)

    def tells(self, fault: str, declared: ThermistorInput) -> BoolArray:
        """Whether each frame tells `fault` and shows no temperature that one could believe.

        A board that declares no reading for the fault shows what it likes, and its flag
        suffices. ("Value must not look plausible": common practice, no source.)
        """
        reads = declared.open_reads_celsius if fault == "open" else declared.short_reads_celsius
        told: BoolArray = np.isin(self.state, telling(fault))
        return told if reads is None else told & ~self.is_plausible

    def _where(self, mask: BoolArray) -> FrameStates:
        return FrameStates(
            self.monotonic[mask], self.celsius[mask], self.state[mask], self.is_plausible[mask]
        )


def telling(fault: str) -> tuple[State, State]:
    """The states that tell `fault` ("open" or "short")."""
    return (State.OPEN if fault == "open" else State.SHORT, State.NO_VALUE)


def frame_states(
    monotonic: FloatArray,
    quantity: IntArray,
    value: FloatArray,
    declared: ThermistorInput,
    span_celsius: tuple[float, float],
) -> FrameStates:
    """The states of one thermistor from its board observations, arrays of shape (rows,).

    Rows of one frame share their time. A frame without a temperature field has NaN there and
    counts by its flags alone. `span_celsius` : lowest and highest temperature of the curve.
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
    reads_open = _reads(celsius, declared.open_reads_celsius, declared)
    reads_short = _reads(celsius, declared.short_reads_celsius, declared)
    is_open |= ~is_flagged & reads_open
    is_short |= ~is_flagged & reads_short
    state = np.full(len(times), int(State.TEMPERATURE), dtype=np.int64)
    state[is_open] = State.OPEN
    state[is_short] = State.SHORT
    is_silent = np.isnan(celsius) & ~is_flagged & has_field
    state[is_silent] = State.NO_VALUE
    state[is_open & is_short] = State.BOTH
    lowest, highest = span_celsius
    is_on_curve = (celsius >= lowest) & (celsius <= highest)
    return FrameStates(times, celsius, state, is_on_curve & ~reads_open & ~reads_short)


def _column(
    times: FloatArray,
    monotonic: FloatArray,
    value: FloatArray,
    rows: BoolArray,
) -> FloatArray:
    """The values of `rows` at each of `times`, NaN where there is none."""
    found = np.full(len(times), np.nan)
    found[np.searchsorted(times, monotonic[rows])] = value[rows]
    return found


def _reads(celsius: FloatArray, sentinel: float | None, declared: ThermistorInput) -> BoolArray:
    """Where the reading is the declared one, to within one reporting step."""
    if sentinel is None:
        return np.zeros(len(celsius), dtype=bool)
    return np.asarray(np.abs(celsius - sentinel) <= declared.resolution_celsius, dtype=bool)
