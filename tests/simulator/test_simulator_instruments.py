"""Figures of the simulated instruments, without sockets and with time turned by hand."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from simulated_benches import PERFECT, fixture_setup

from harness.protocols.scpi_device import ScpiDevice
from harness.simulator.devices import make_devices
from harness.simulator.draws import draw_bench
from harness.simulator.faults import Faults, InstrumentFault
from harness.simulator.plant import Plant
from harness.simulator.settings import TwinSettings


@dataclass
class HandClock:
    """A clock that stands until it is turned."""

    moment: float = 0.0

    def now(self) -> float:
        return self.moment

    def wall(self) -> float:
        return self.moment

    def sleep(self, seconds: float) -> None:
        self.moment += seconds

    def real_seconds(self, seconds: float) -> float:
        return seconds

    def real_timeout(self, seconds: float) -> float:
        return seconds


class HandBench:
    """Devices, plant and clock of a bench; `tell` executes a message and lets its time pass."""

    def __init__(self, **instruments: InstrumentFault) -> None:
        setup, self.clock = fixture_setup(), HandClock()
        faults = Faults(spread=PERFECT, instrument=instruments)
        draw = draw_bench(setup, faults, 4)
        self.draw = draw
        self.plant = Plant(setup, faults, draw, 0.0)
        settings = TwinSettings(setup, faults, 4, self.clock)
        self.devices: dict[str, ScpiDevice] = make_devices(settings, self.plant, draw)

    def tell(self, name: str, message: str) -> str | None:
        running = self.devices[name].execute(message)
        try:
            while True:
                self.clock.sleep(next(running))
        except StopIteration as end:
            reply: str | None = end.value
            return reply

    def read(self, name: str, message: str) -> float:
        reply = self.tell(name, message)
        assert reply is not None
        return float(reply.split(",")[0])

    def energise(self, volts: float) -> None:
        for channel in range(1, 13):
            self.tell("supply", f"INST:NSEL {channel};:VOLT {volts};:OUTP ON")
        self.clock.sleep(1.0)
        self.plant.advance(self.clock.now())


@pytest.mark.parametrize("share", [-1.0, 0.0, 1.0])
def test_meter_is_off_by_its_share_of_the_specification(share: float) -> None:
    """One year, 10 V range: 35 ppm of reading and 5 ppm of range, for every reading alike."""
    bench = HandBench(meter=InstrumentFault(accuracy_draw=share))
    bench.energise(3.3)
    bench.tell("meter", "CONF:VOLT:DC 10;:VOLT:DC:NPLC 100")
    bench.tell("relays", "ROUT:CLOS (@106);*OPC?")
    emf = bench.draw.relay_emf_volts["relays", "106"]
    pins = bench.plant.pin_volts()
    true = pins[6] - pins[5]
    expected = share * (35e-6 * true + 5e-6 * 10) + emf
    # 0.05 ppm of 10 V of noise and 0.03 ppm of resolution at 100 cycles.
    assert pytest.approx(expected, abs=2.5e-6) == bench.read("meter", "READ?") - true


def test_meter_noise_depends_on_the_integration_time() -> None:
    """0.7 ppm of 10 V at one cycle; with steps of 1 ppm: sqrt(7^2 + 10^2 / 12) uV."""
    bench = HandBench()
    bench.energise(3.3)
    bench.tell("meter", "CONF:VOLT:DC 10;:VOLT:DC:NPLC 1;:SAMP:COUN 1000")
    bench.tell("relays", "ROUT:CLOS (@106);*OPC?")
    reply = bench.tell("meter", "READ?")
    assert reply is not None
    readings = np.array([float(part) for part in reply.split(",")])
    assert len(readings) == 1000
    assert pytest.approx(np.sqrt(7e-6**2 + 1e-5**2 / 12), rel=0.08) == readings.std()


def test_readings_take_their_apertures() -> None:
    """Three readings of ten cycles at 50 Hz: 0.6 s."""
    bench = HandBench()
    bench.tell("meter", "CONF:VOLT:DC 10;:VOLT:DC:NPLC 10;:SAMP:COUN 3")
    before = bench.clock.now()
    bench.tell("meter", "READ?")
    assert pytest.approx(0.6) == bench.clock.now() - before


def test_a_relay_takes_its_time() -> None:
    """2 ms to open, then 5 ms to close; contacts have touched half way through."""
    bench = HandBench()
    bench.tell("relays", "ROUT:CLOS (@101)")
    before = bench.clock.now()
    bench.tell("relays", "ROUT:OPEN (@101);*WAI;:ROUT:CLOS (@102);*OPC?")
    assert pytest.approx(0.007) == bench.clock.now() - before
    opened, closed = bench.plant.log.relays[-2:]
    assert ("101", False, "102", True) == (
        opened.relay,
        opened.is_closed,
        closed.relay,
        closed.is_closed,
    )
    # Half of 2 ms before the end of releasing, half of 5 ms after it.
    assert pytest.approx(0.001 + 0.0025) == closed.time - opened.time
    assert bench.plant.log.forbidden == []


def test_settled_after_a_relay_has_operated() -> None:
    """A reading begun right behind *OPC? is settled to less than a microvolt."""
    bench = HandBench(meter=InstrumentFault(accuracy_draw=0.0))
    bench.energise(3.3)
    bench.tell("meter", "CONF:VOLT:DC 10;:VOLT:DC:NPLC 1")
    bench.tell("relays", "ROUT:CLOS (@106);*OPC?")
    window = bench.plant.integrate(0.02)
    bench.plant.advance(bench.clock.now() + 0.02)
    pins = bench.plant.pin_volts()
    assert pytest.approx(pins[6] - pins[5], abs=1e-6) == window.mean_volts


def test_supply_is_off_by_its_share_of_the_setting_accuracy() -> None:
    """500 ppm and 5 mV at most, one share for each channel; steps of 0.5 mV."""
    bench = HandBench()
    bench.energise(3.30021)
    cells = np.diff(bench.plant.pin_volts())
    bound = 500e-6 * 3.3 + 0.005
    expected = 3.3 + bench.draw.supplies["supply"].setting * bound
    assert pytest.approx(expected[1:-1], abs=6e-5) == cells[1:-1]


def test_decade_is_off_by_its_share_and_its_residual() -> None:
    """A full share of 1000 ppm on 10 kohm, and 0.3 ohm."""
    bench = HandBench(decade=InstrumentFault(accuracy_draw=1.0))
    bench.tell("decade", "RES 10000.4;*OPC?")
    assert bench.tell("decade", "RES?") == "10000"
    assert pytest.approx(10_010.3) == bench.plant.decade_ohms


def test_ohms_through_two_contacts() -> None:
    """The meter at the decade sees 0.2 ohm of relay contacts on top."""
    bench = HandBench(
        decade=InstrumentFault(accuracy_draw=0.0), meter=InstrumentFault(accuracy_draw=0.0)
    )
    bench.tell("decade", "RES 1000")
    bench.tell("relays", "ROUT:CLOS (@114)")
    bench.tell("meter", "CONF:RES 1000;:RES:NPLC 100")
    assert pytest.approx(1000.5, abs=0.001) == bench.read("meter", "READ?")


def test_reset_switches_everything_off() -> None:
    """*RST: outputs off, 0 V, limits at their highest, relays open."""
    bench = HandBench()
    bench.energise(3.3)
    bench.tell("relays", "ROUT:CLOS (@101)")
    bench.tell("supply", "*RST")
    bench.tell("relays", "*RST")
    bench.clock.sleep(1.0)
    assert "0;0.5;6.6" == bench.tell("supply", "VOLT?;:CURR?;:VOLT:PROT?")
    assert bench.plant.log.outputs_on == frozenset()
    assert bench.plant.relays.closed == frozenset()


def test_trip_is_told_and_keeps_the_output_off() -> None:
    """Above its protection a channel trips; on again only after it is cleared."""
    bench = HandBench()
    bench.tell("supply", "INST:NSEL 2;:VOLT:PROT 3;:VOLT 2;:OUTP ON;:VOLT 3.5")
    bench.clock.sleep(0.1)
    assert "1;0" == bench.tell("supply", "VOLT:PROT:TRIP?;:OUTP?")
    bench.tell("supply", "VOLT 2;:OUTP ON")
    assert bench.tell("supply", "OUTP?") == "0"
    bench.tell("supply", "VOLT:PROT:CLE;:OUTP ON")
    assert "0;1" == bench.tell("supply", "VOLT:PROT:TRIP?;:OUTP?")
