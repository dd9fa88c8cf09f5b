"""The limits that apply to a run: the plan's own where it states them, else the board's.

It holds no default of its own.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from harness.descriptions.setup import Setup
from harness.observation import FloatArray


@dataclass(frozen=True)
class Limits:
    """Maximum permissible errors, symmetric about zero, and the largest noise allowed.

    thermistor_core_celsius : temperatures, inclusive, between which
        `thermistor_error_celsius` holds; outside it is multiplied by
        `thermistor_outside_factor`.
    """

    cell_error_volts: float
    stack_error_volts: float
    noise_volts: float
    thermistor_error_celsius: float
    thermistor_core_celsius: tuple[float, float]
    thermistor_outside_factor: float

    def thermistor_limit_celsius(self, celsius: FloatArray) -> FloatArray:
        """The limit at each of `celsius` (any shape, degrees Celsius); NaN where it is NaN."""
        lowest, highest = self.thermistor_core_celsius
        is_core = (celsius >= lowest) & (celsius <= highest)
        outside = self.thermistor_error_celsius * self.thermistor_outside_factor
        limit = np.where(is_core, self.thermistor_error_celsius, outside)
        return np.where(np.isnan(celsius), np.nan, limit)


def limits_of(setup: Setup) -> Limits:
    """The limits of `setup`: each one from the plan when stated there, else from the board."""
    board, plan = setup.board.limits, setup.plan.limits
    return Limits(
        cell_error_volts=_first(plan.cell_error_volts, board.cell_error_volts),
        stack_error_volts=_first(plan.stack_error_volts, board.stack_error_volts),
        noise_volts=_first(plan.noise_volts, board.noise_volts),
        thermistor_error_celsius=_first(
            plan.thermistor_error_celsius, board.thermistor_error_celsius
        ),
        thermistor_core_celsius=board.thermistor_core_celsius,
        thermistor_outside_factor=board.thermistor_outside_factor,
    )


def _first(stated: float | None, fallback: float) -> float:
    return fallback if stated is None else stated
