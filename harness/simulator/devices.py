"""Makes the SCPI devices of a twin: who plays which role of the bench."""

from __future__ import annotations

from typing import Protocol

from harness.descriptions.instrument import (
    DecadeModel,
    InstrumentModel,
    MeterModel,
    SupplyModel,
    SwitchModel,
)
from harness.protocols.scpi_device import ScpiDevice
from harness.simulator.decade import DecadeDevice
from harness.simulator.draws import BenchDraw
from harness.simulator.faults import InstrumentFault
from harness.simulator.identity import four_fields, identity_text
from harness.simulator.meter import MeterDevice
from harness.simulator.plant import Plant
from harness.simulator.settings import TwinSettings
from harness.simulator.supply import SupplyDevice
from harness.simulator.switch import SwitchDevice
from harness.simulator.templates import CommandTable


class Instrument(Protocol):
    """What every simulated instrument offers."""

    def commands(self) -> CommandTable:
        """Its commands."""
        ...

    def reset(self) -> None:
        """As `*RST`."""
        ...


class Bystander:
    """An instrument that the bench describes and does not use: it only says who it is."""

    def commands(self) -> CommandTable:
        """None but the common ones."""
        return CommandTable()

    def reset(self) -> None:
        """Nothing to do."""


def make_devices(settings: TwinSettings, plant: Plant, draw: BenchDraw) -> dict[str, ScpiDevice]:
    """One SCPI device for each instrument of the bench, by its name there."""
    setup = settings.setup
    devices: dict[str, ScpiDevice] = {}
    for name, model in setup.models.items():
        fault = settings.faults.instrument.get(name, InstrumentFault())
        instrument = _instrument(name, model, settings, plant, draw, fault)
        serial = setup.bench.instruments[name].serial
        devices[name] = ScpiDevice(
            four_fields(fault.identity or identity_text(model.identity, serial)),
            instrument.commands().commands(),
            reset=instrument.reset,
        )
        for number in fault.queued_errors:
            devices[name].report(number)
    return devices


def _instrument(
    name: str,
    model: InstrumentModel,
    settings: TwinSettings,
    plant: Plant,
    draw: BenchDraw,
    fault: InstrumentFault,
) -> Instrument:
    bench, clock = settings.setup.bench, settings.clock
    if isinstance(model, SwitchModel):
        return SwitchDevice(name, model, plant, clock, fault)
    if not _is_in_use(name, settings):
        return Bystander()
    if isinstance(model, SupplyModel):
        return SupplyDevice(model, plant, clock, draw.supplies[name], fault)
    if isinstance(model, MeterModel):
        return MeterDevice(name, model, bench, plant, clock, draw, fault)
    assert isinstance(model, DecadeModel)
    return DecadeDevice(model, plant, clock, draw.decades[name])


def _is_in_use(name: str, settings: TwinSettings) -> bool:
    """The wiring names its supply; of meters and decades the first one is wired."""
    bench = settings.setup.bench
    role = bench.instruments[name].role
    if role == "supply":
        return name == bench.wiring.supply
    return name == next(n for n, entry in bench.instruments.items() if entry.role == role)
