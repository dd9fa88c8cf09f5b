"""The simulated relay card.

Contacts touch or part half way through the declared operate or release time; what is left of
it is for bouncing to end. A command takes the whole time, so `*OPC?` behind it waits.
"""

from __future__ import annotations

from collections.abc import Generator, Iterable, Mapping

from harness.descriptions.instrument import SwitchModel
from harness.simulator.faults import InstrumentFault
from harness.simulator.parameters import channel_list
from harness.simulator.plant import Plant
from harness.simulator.templates import CommandTable
from harness.timebase import Clock


class SwitchDevice:
    """Relays, opened and closed by channel lists.

    Parameters
    ----------
    name : the card's name in the bench file.
    """

    def __init__(
        self, name: str, model: SwitchModel, plant: Plant, clock: Clock, fault: InstrumentFault
    ) -> None:
        self._name = name
        self._model = model
        self._plant = plant
        self._clock = clock
        self._fault = fault
        self._told: set[str] = set()

    def commands(self) -> CommandTable:
        """The commands of the model description."""
        table, forms = CommandTable(), self._model.commands
        table.add(forms.close, lambda holes: self._move(self._listed(holes), True))
        table.add(forms.open, lambda holes: self._move(self._listed(holes), False))
        table.add(forms.open_all, lambda holes: self._move(self._model.relays, False))
        table.add(forms.is_closed, self._are_closed)
        return table

    def reset(self) -> None:
        """As `*RST`: all open, at once."""
        self._plant.advance(self._clock.now())
        self._told.clear()
        for relay in self._model.relays:
            self._plant.move_relay((self._name, relay), False)

    def _listed(self, holes: Mapping[str, str]) -> list[str]:
        return channel_list(holes["channels"], self._model.relays)

    def _move(self, relays: Iterable[str], is_closed: bool) -> Generator[float, None, None]:
        model = self._model
        seconds = model.operate_seconds if is_closed else model.release_seconds
        self._plant.advance(self._clock.now())
        closed = self._plant.relays.closed
        for relay in relays:
            (self._told.add if is_closed else self._told.discard)(relay)
            is_stuck = relay in self._fault.stuck_relays
            if ((self._name, relay) in closed) != is_closed and not is_stuck:
                self._schedule(relay, is_closed, self._plant.time + seconds / 2)
        yield seconds
        self._plant.advance(self._clock.now())

    def _schedule(self, relay: str, is_closed: bool, moment: float) -> None:
        self._plant.schedule(moment, lambda: self._plant.move_relay((self._name, relay), is_closed))

    def _are_closed(self, holes: Mapping[str, str]) -> str:
        self._plant.advance(self._clock.now())
        closed = {relay for card, relay in self._plant.relays.closed if card == self._name}
        if self._fault.hides_stuck_relays:  # as most cards: they know their drivers, no contact
            closed = self._told
        return ",".join(str(int(relay in closed)) for relay in self._listed(holes))
