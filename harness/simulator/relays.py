"""What the relays connect: from closed contacts to meter paths, decade paths and shunts.

The bench file says which relays make which path; nothing about numbering is fixed here.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from harness.descriptions.instrument import SwitchModel
from harness.descriptions.paths import resolve_relay
from harness.descriptions.setup import Setup
from harness.simulator.bench_log import BenchLog, ForbiddenTogether, RelayMoved
from harness.simulator.network import MeterContact, Topology

Relay = tuple[str, str]


class RelayPlane:
    """All contacts of all relay cards, and what they make of the bench.

    Parameters
    ----------
    emf_volts : thermal voltage of each relay, by (instrument, relay).
    """

    def __init__(self, setup: Setup, emf_volts: Mapping[Relay, float], log: BenchLog) -> None:
        self._setup = setup
        self._emf_volts = emf_volts
        self._log = log
        self._closed: set[Relay] = set()
        paths, cells = setup.bench.paths, setup.bench.wiring.cells
        self._meter_taps = [
            (self._resolve(relays), cell, cell - 1)
            for cell, relays in enumerate(paths.meter_at_cell, 1)
        ]
        if paths.meter_at_stack is not None:
            self._meter_taps.append((self._resolve(paths.meter_at_stack), cells, 0))
        self._meter_at_decade = self._resolve(paths.meter_at_decade or ())
        self._decade_at = [self._resolve(relays) for relays in paths.decade_at_thermistor]
        self._shunts = [self._resolve(relays) for relays in paths.rung_shunt]
        self._never_together = [self._resolve(group) for group in paths.never_together]

    def _resolve(self, relays: Iterable[str]) -> frozenset[Relay]:
        return frozenset(resolve_relay(relay, self._setup) for relay in relays)

    @property
    def closed(self) -> frozenset[Relay]:
        """The relays whose contacts are closed now."""
        return frozenset(self._closed)

    def move(self, relay: Relay, is_closed: bool, time: float) -> None:
        """Open or close one relay's contacts at `time`, and log what must not be."""
        if is_closed == (relay in self._closed):
            return
        (self._closed.add if is_closed else self._closed.discard)(relay)
        self._log.relays.append(RelayMoved(time, *relay, is_closed))
        for group in self._never_together:
            together = group & self._closed
            if is_closed and relay in group and len(together) > 1:
                names = tuple(sorted(":".join(member) for member in together))
                self._log.forbidden.append(ForbiddenTogether(time, names))

    def topology(self, meter_ohms: float) -> Topology:
        """The network's topology with the relays as they are now."""
        contacts = tuple(
            MeterContact(high, low, self._contact_ohms(relays))
            for relays, high, low in self._meter_taps
            if self._is_made(relays)
        )
        shunted = frozenset(k for k, relays in enumerate(self._shunts, 1) if self._is_made(relays))
        return Topology(contacts, meter_ohms if contacts else 0.0, shunted)

    def _is_made(self, relays: frozenset[Relay]) -> bool:
        return bool(relays) and relays <= self._closed

    def _contact_ohms(self, relays: frozenset[Relay]) -> float:
        total = 0.0
        for instrument, _ in relays:
            model = self._setup.models[instrument]
            total += model.contact_ohms if isinstance(model, SwitchModel) else 0.0
        return total

    def meter_emf_volts(self) -> float:
        """Thermal voltage in the meter's closed paths."""
        return sum(
            self._emf_volts[relay]
            for relays, _, _ in self._meter_taps
            if self._is_made(relays)
            for relay in relays
        )

    def decade_contact_ohms(self, thermistor: int) -> float | None:
        """Contact resistance, both leads, between decade and a thermistor input; None is open.

        `thermistor` counts from 0.
        """
        if thermistor >= len(self._decade_at) or not self._is_made(self._decade_at[thermistor]):
            return None
        return 2 * self._contact_ohms(self._decade_at[thermistor])

    def meter_decade_contact_ohms(self) -> float | None:
        """Contact resistance, both leads, between meter and decade; None is open."""
        if not self._is_made(self._meter_at_decade):
            return None
        return 2 * self._contact_ohms(self._meter_at_decade)
