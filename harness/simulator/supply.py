"""The simulated supply: SCPI commands of its model description onto the plant's sources."""

from __future__ import annotations

from collections.abc import Mapping

from harness.descriptions.instrument import SupplyModel
from harness.protocols.scpi_numbers import format_number
from harness.simulator.draws import SupplyErrors
from harness.simulator.faults import InstrumentFault
from harness.simulator.parameters import number
from harness.simulator.plant import Plant
from harness.simulator.templates import CommandTable
from harness.timebase import Clock

# What the supply's own ammeter resolves.
CURRENT_STEP_AMPERES = 0.0001

Holes = Mapping[str, str]


class SupplyDevice:
    """Channels with set-points, limits and protections; one of them selected.

    Parameters
    ----------
    errors : shares of the accuracy specifications; fault : what it does wrong.
    """

    def __init__(
        self,
        model: SupplyModel,
        plant: Plant,
        clock: Clock,
        errors: SupplyErrors,
        fault: InstrumentFault,
    ) -> None:
        self._model = model
        self._plant = plant
        self._clock = clock
        self._errors = errors
        self._fault = fault
        self._selected = 0
        self._set_volts = [0.0] * model.channels
        self._set_amperes = [model.highest_amperes] * model.channels
        self._protections = [model.highest_protection_volts] * model.channels

    def commands(self) -> CommandTable:
        """The commands of the model description, and what a bench user would also try."""
        table, forms = CommandTable(), self._model.commands
        table.add(forms.select, self._select)
        table.add("INST:NSEL?", lambda holes: str(self._selected + 1))
        table.add(forms.set_voltage, self._set_voltage)
        table.add(forms.get_voltage, self._get_voltage)
        table.add(forms.set_current, self._set_current)
        table.add(forms.get_current, lambda h: _shown(self._set_amperes[self._channel(h)]))
        table.add(forms.set_protection, self._set_protection)
        table.add(forms.get_protection, lambda h: _shown(self._protections[self._channel(h)]))
        table.add(forms.protection_tripped, self._tripped)
        table.add(forms.output_on, lambda holes: self._switch(holes, True))
        table.add(forms.output_off, lambda holes: self._switch(holes, False))
        table.add(forms.get_output, self._get_output)
        table.add(forms.measure_voltage, self._measure_voltage)
        table.add(forms.measure_current, self._measure_current)
        table.add("VOLT:PROT:CLE", self._clear_protection)
        return table

    def reset(self) -> None:
        """As `*RST`: outputs off, 0 V, limits and protections at their highest."""
        self._plant.advance(self._clock.now())
        self._selected = 0
        for channel in range(self._model.channels):
            self._plant.switch_output(channel, False, "reset")
            self._program(channel, 0.0)
            self._set_amperes[channel] = self._model.highest_amperes
            self._protections[channel] = self._model.highest_protection_volts
            self._plant.reset_limits(channel)

    def _channel(self, holes: Holes) -> int:
        if "channel" not in holes:
            return self._selected
        return int(number(holes["channel"], "1", 1, self._model.channels)) - 1

    def _select(self, holes: Holes) -> None:
        self._selected = self._channel(holes)

    def _set_voltage(self, holes: Holes) -> None:
        highest = self._model.highest_volts
        if self._fault.refuses_above_volts is not None:
            highest = min(highest, self._fault.refuses_above_volts)
        volts = number(holes["volts"], "V", 0.0, highest)
        self._plant.advance(self._clock.now())
        self._program(self._channel(holes), volts)

    def _program(self, channel: int, volts: float) -> None:
        """The nearest step, with the channel's share of the setting accuracy."""
        model = self._model
        volts = round(volts / model.set_resolution_volts) * model.set_resolution_volts
        bound = model.set_accuracy_ppm * 1e-6 * volts + model.set_accuracy_volts
        self._set_volts[channel] = volts
        error = float(self._errors.setting[channel]) * bound
        self._plant.program_volts(channel, volts + error if volts > 0 else 0.0)

    def _get_voltage(self, holes: Holes) -> str:
        lie = self._fault.setpoint_readback_offset_volts
        return _shown(self._set_volts[self._channel(holes)] + lie)

    def _set_current(self, holes: Holes) -> None:
        channel = self._channel(holes)
        amperes = number(holes["amperes"], "A", 0.0, self._model.highest_amperes)
        self._plant.advance(self._clock.now())
        self._set_amperes[channel] = amperes
        self._plant.program_limit(channel, amperes * self._fault.limit_ratio)

    def _set_protection(self, holes: Holes) -> None:
        channel = self._channel(holes)
        volts = number(holes["volts"], "V", 0.0, self._model.highest_protection_volts)
        self._plant.advance(self._clock.now())
        if not self._fault.ignores_protection:
            self._protections[channel] = volts
            self._plant.program_protection(channel, volts)

    def _tripped(self, holes: Holes) -> str:
        self._plant.advance(self._clock.now())
        return str(int(self._plant.outputs.is_tripped[self._channel(holes)]))

    def _clear_protection(self, holes: Holes) -> None:
        self._plant.outputs.is_tripped[self._channel(holes)] = False

    def _switch(self, holes: Holes, is_on: bool) -> None:
        channel = self._channel(holes)
        self._plant.advance(self._clock.now())
        if not (is_on and self._plant.outputs.is_tripped[channel]):
            self._plant.switch_output(channel, is_on)

    def _get_output(self, holes: Holes) -> str:
        self._plant.advance(self._clock.now())
        return str(int(self._plant.outputs.is_on[self._channel(holes)]))

    def _measure_voltage(self, holes: Holes) -> str:
        channel, model = self._channel(holes), self._model
        self._plant.advance(self._clock.now())
        volts = self._plant.terminal_volts(channel)
        bound = model.readback_accuracy_ppm * 1e-6 * abs(volts) + model.readback_accuracy_volts
        error = float(self._errors.readback[channel]) * bound
        return f"{volts + error + self._fault.measured_readback_offset_volts:.4f}"

    def _measure_current(self, holes: Holes) -> str:
        self._plant.advance(self._clock.now())
        amperes = self._plant.amperes(self._channel(holes))
        return f"{round(amperes / CURRENT_STEP_AMPERES) * CURRENT_STEP_AMPERES:.5f}"


def _shown(value: float) -> str:
    return format_number(value, digits=9)
