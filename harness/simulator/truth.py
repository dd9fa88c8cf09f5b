"""What is really so on a simulated bench: for tests and rehearsal summaries only.

The static part is the same in every process that draws the same bench, so a test can know the
injected errors of a twin that runs elsewhere.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from harness.descriptions.setup import Setup
from harness.observation import FloatArray
from harness.simulator.draws import BenchDraw, draw_bench
from harness.simulator.faults import Faults
from harness.simulator.thermistors import ThermistorFirmware, divider_ratio


@dataclass(frozen=True)
class StaticTruth:
    """Injected errors of one drawn bench, without noise, rounding and settling."""

    setup: Setup
    draw: BenchDraw

    def cell_errors(self, cell_volts: FloatArray, uptime_seconds: float = np.inf) -> FloatArray:
        """Indication less true value of every channel.

        Parameters
        ----------
        cell_volts : true voltages at the pins, shape (..., cells), volts.

        Returns
        -------
        Errors in volts, shape (..., cells).
        """
        volts = np.asarray(cell_volts, dtype=np.float64)
        errors: FloatArray = self.draw.cells.indications(volts, uptime_seconds) - volts
        return errors

    def stack_error(self, stack_volts: float) -> float:
        """Indication less true value of the stack voltage, volts."""
        return stack_volts * self.draw.stack_gain + self.draw.stack_offset_volts

    def temperature_error(self, thermistor: int, ohms: float) -> float:
        """Indication less the temperature that `ohms` stands for by the declared curve, kelvin.

        Parameters
        ----------
        thermistor : counts from 1; ohms : true resistance at its connector, with every other
            thermistor input at the same.
        """
        errors = self.draw.thermistors[thermistor - 1]
        read = self.draw.thermistors[errors.shows]
        board, curves = self.setup.board, self.setup.curves
        firmware = ThermistorFirmware(board.thermistors[errors.shows], curves[errors.shows], read)
        perfect = ThermistorFirmware(
            board.thermistors[thermistor - 1], curves[thermistor - 1], errors
        )
        shown = firmware.state(divider_ratio(read, ohms)).celsius
        declared = board.thermistors[thermistor - 1].pull_up_ohms
        return shown - perfect.celsius(ohms / (ohms + declared))

    def meter_share(self, name: str) -> float:
        """The drawn share of the voltage specification of the meter `name`, -1 to 1."""
        return self.draw.meters[name].volts


def static_truth(setup: Setup, faults: Faults, seed: int) -> StaticTruth:
    """The injected errors of the bench that these three make."""
    return StaticTruth(setup, draw_bench(setup, faults, seed))
