"""The simulated resistance source."""

from __future__ import annotations

from collections.abc import Generator, Mapping

from harness.descriptions.instrument import DecadeModel
from harness.protocols.scpi_numbers import format_number
from harness.simulator.parameters import number
from harness.simulator.plant import Plant
from harness.simulator.templates import CommandTable
from harness.timebase import Clock


class DecadeDevice:
    """A setting in steps; actual resistance by its drawn share of the accuracy, plus residual.

    Parameters
    ----------
    share : drawn share of `accuracy_ppm`, -1 to 1.
    """

    def __init__(self, model: DecadeModel, plant: Plant, clock: Clock, share: float) -> None:
        self._model = model
        self._plant = plant
        self._clock = clock
        self._share = share
        self._setting = model.highest_ohms
        plant.set_decade(self._actual_ohms())

    def commands(self) -> CommandTable:
        """The commands of the model description."""
        table, forms = CommandTable(), self._model.commands
        table.add(forms.set_resistance, self._set)
        table.add(forms.get_resistance, lambda holes: format_number(self._setting, digits=9))
        return table

    def reset(self) -> None:
        """As `*RST`: the highest setting."""
        self._setting = self._model.highest_ohms
        self._plant.advance(self._clock.now())
        self._plant.set_decade(self._actual_ohms())

    def _actual_ohms(self) -> float:
        ppm = self._share * self._model.accuracy_ppm
        return self._setting * (1 + ppm * 1e-6) + self._model.residual_ohms

    def _set(self, holes: Mapping[str, str]) -> Generator[float, None, None]:
        """The nearest step; the switches have moved half way through the settling time."""
        model = self._model
        wanted = number(holes["ohms"], "ohm", model.lowest_ohms, model.highest_ohms)
        steps = round((wanted - model.lowest_ohms) / model.step_ohms)
        self._setting = min(model.lowest_ohms + steps * model.step_ohms, model.highest_ohms)
        self._plant.advance(self._clock.now())
        actual = self._actual_ohms()
        moment = self._plant.time + model.settling_seconds / 2
        self._plant.schedule(moment, lambda: self._plant.set_decade(actual))
        yield model.settling_seconds
        self._plant.advance(self._clock.now())
