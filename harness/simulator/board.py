"""The simulated board: samples its filtered inputs and says what its firmware would say.

It samples on its own schedule in simulated time, exactly, however late the computer is; what
a frame looks like as bytes, and what happens to it on the way, is no matter of this module.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from harness.descriptions.setup import Setup
from harness.observation import FloatArray, Quantity
from harness.simulator.draws import BenchDraw
from harness.simulator.faults import ChannelFault, Faults
from harness.simulator.plant import Plant
from harness.simulator.thermistors import ThermistorFirmware, ThermistorState

# A frame's values by quantity and channel; channels count from 1, the stack's is 0.
FrameValues = Mapping[tuple[Quantity, int], float]

# What an unsigned 16-bit millivolt field can carry, and less than any flag value.
HIGHEST_SHOWN_VOLTS = 65.0


@dataclass(frozen=True)
class Sample:
    """One frame's values, its number and uptime, and the clock second at which it begins."""

    begins: float
    sequence: int
    uptime_seconds: float
    values: FrameValues


class Board:
    """Samples a plant every refresh period.

    Parameters
    ----------
    start : clock second at which the board is switched on; the first frame begins one
        refresh period later.
    """

    def __init__(
        self, setup: Setup, faults: Faults, draw: BenchDraw, plant: Plant, start: float
    ) -> None:
        board = setup.board
        self._setup = setup
        self._draw = draw
        self._plant = plant
        self._start = start
        self._is_truncating = faults.spread.quantisation == "truncate"
        self._refresh = board.refresh_seconds * faults.link.refresh_ratio
        self._firmware = [
            ThermistorFirmware(declared, curve, errors)
            for declared, curve, errors in zip(
                board.thermistors, setup.curves, draw.thermistors, strict=True
            )
        ]
        self._habits = {fault.channel - 1: fault for fault in faults.channel}
        self._held = np.zeros(setup.bench.wiring.cells)
        self._frames = 0
        self._due: list[Sample] = []
        self._schedule_next()

    @property
    def refresh_seconds(self) -> float:
        """Actual time from frame to frame."""
        return self._refresh

    @property
    def next_begins(self) -> float:
        """Clock second at which the next frame begins."""
        return self._start + (self._frames + 1) * self._refresh

    def take_due(self) -> list[Sample]:
        """The frames that began since the last call; the plant must have been advanced."""
        due, self._due = self._due, []
        return due

    def _schedule_next(self) -> None:
        moment = self.next_begins - self._setup.board.sample_age_seconds
        self._plant.schedule(moment, self._sample)

    def _sample(self) -> None:
        begins, uptime = self.next_begins, self.next_begins - self._start
        self._due.append(Sample(begins, self._frames, uptime, self._values(uptime)))
        self._frames += 1
        self._schedule_next()

    def _values(self, uptime: float) -> FrameValues:
        board = self._setup.board
        values = {(Quantity.STACK_VOLTAGE, 0): self._stack_volts()}
        for channel, volts in enumerate(self._cell_volts(uptime), 1):
            values[Quantity.CELL_VOLTAGE, channel] = float(volts)
        for index in range(len(board.thermistors)):
            state, celsius = self._thermistor(index)
            values[Quantity.TEMPERATURE, index + 1] = celsius
            values[Quantity.THERMISTOR_OPEN, index + 1] = float(state.is_open)
            values[Quantity.THERMISTOR_SHORT, index + 1] = float(state.is_short)
        return values

    def _cell_volts(self, uptime: float) -> FloatArray:
        errors = self._draw.cells
        noise = self._draw.board_noise.standard_normal(len(errors.gain)) * errors.noise_volts
        cells = errors.indications(self._plant.filtered_cells, uptime) + noise
        shown = self._quantised(cells, self._setup.board.cell_inputs.resolution_volts)
        for index, habit in self._habits.items():
            if self._frames > 0 and _repeats(habit, self._frames, uptime):
                shown[index] = self._held[index]
        self._held = shown
        return shown

    def _stack_volts(self) -> float:
        draw = self._draw
        volts = self._plant.filtered_stack * (1 + draw.stack_gain) + draw.stack_offset_volts
        volts += draw.board_noise.standard_normal() * draw.stack_noise_volts
        step = self._setup.board.cell_inputs.stack_resolution_volts
        return float(self._quantised(np.array([volts]), step)[0])

    def _quantised(self, volts: FloatArray, step: float) -> FloatArray:
        codes = np.floor(volts / step) if self._is_truncating else np.rint(volts / step)
        result: FloatArray = np.clip(codes * step, 0.0, max(HIGHEST_SHOWN_VOLTS, 2 * step))
        return result

    def _thermistor(self, index: int) -> tuple[ThermistorState, float]:
        errors = self._draw.thermistors[index]
        declared = self._setup.board.thermistors[index]
        state = self._firmware[errors.shows].state(float(self._plant.filtered_ratios[errors.shows]))
        celsius = state.celsius
        if not (state.is_open or state.is_short):
            celsius += float(self._draw.board_noise.standard_normal()) * errors.noise_celsius
        step = declared.resolution_celsius
        return state, step * math.floor(celsius / step + (0.0 if self._is_truncating else 0.5))


def _repeats(habit: ChannelFault, frame: int, uptime: float) -> bool:
    """Whether a channel shows its old value in this frame."""
    is_frozen = habit.frozen_after_seconds is not None and uptime >= habit.frozen_after_seconds
    return is_frozen or frame % habit.renewed_every_frames != 0
