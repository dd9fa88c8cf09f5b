"""Simulated instruments over real sockets, as pyvisa-py sees them."""

from __future__ import annotations

import re
import socket
import time
from collections.abc import Iterator

import pytest
import pyvisa
from pyvisa.resources import MessageBasedResource
from simulated_benches import PERFECT, fixture_setup

from harness.simulator.faults import Faults, InstrumentFault
from harness.simulator.settings import TwinSettings
from harness.simulator.twin import Twin
from harness.timebase import ScaledClock

SPEED = 20.0


@pytest.fixture(scope="module")
def manager() -> Iterator[pyvisa.ResourceManager]:
    made = pyvisa.ResourceManager("@py")
    yield made
    made.close()


def running_twin(**planted: object) -> Twin:
    faults = Faults(**({"spread": PERFECT} | planted))  # type: ignore[arg-type]
    return Twin(TwinSettings(fixture_setup(), faults, seed=2, clock=ScaledClock(SPEED)))


@pytest.fixture(scope="module")
def twin() -> Iterator[Twin]:
    with running_twin() as made:
        yield made


def opened(manager: pyvisa.ResourceManager, twin: Twin, name: str) -> MessageBasedResource:
    resource = manager.open_resource(
        twin.addresses.resources[name], read_termination="\n", write_termination="\n"
    )
    assert isinstance(resource, MessageBasedResource)
    resource.timeout = 2000
    inner = manager.visalib.sessions[resource.session].interface
    inner.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    return resource


@pytest.fixture
def instruments(
    manager: pyvisa.ResourceManager, twin: Twin
) -> Iterator[dict[str, MessageBasedResource]]:
    found = {name: opened(manager, twin, name) for name in twin.addresses.resources}
    for resource in found.values():
        resource.write("*RST;*CLS")
    yield found
    for resource in found.values():
        resource.close()


Instruments = dict[str, MessageBasedResource]


def test_each_says_who_it_is(instruments: Instruments) -> None:
    """The answer to *IDN? has four parts and what the model description looks for."""
    patterns = {
        "supply": "generic-supply-12ch",
        "meter": "generic-meter-6digit",
        "decade": "generic-decade",
        "relays": "generic-switch-64",
    }
    for name, pattern in patterns.items():
        said = instruments[name].query("*IDN?")
        assert re.search(pattern, said)
        assert said.count(",") == 3


def test_supply_keeps_its_set_points(instruments: Instruments) -> None:
    """Set, read back, per channel."""
    supply = instruments["supply"]
    supply.write("INST:NSEL 3;:VOLT 3.3;CURR 0.1;VOLT:PROT 4.2")
    assert "3.3;0.1;4.2;3" == supply.query("VOLT?;:CURR?;:VOLT:PROT?;:INST:NSEL?")
    assert '0,"No error"' == supply.query("SYST:ERR?")
    supply.write("INST:NSEL 4")
    assert supply.query("VOLT?") == "0"


@pytest.mark.parametrize(
    "command",
    [
        "VOLT 2.5",
        "volt 2.5",
        "SOUR:VOLT 2.5",
        "VOLTage:LEVel:IMMediate:AMPLitude 2.5",
        ":SOURCE:VOLT:LEV 2500 mV",
    ],
)
def test_short_long_and_optional_forms(instruments: Instruments, command: str) -> None:
    """SCPI's other spellings of the same command do the same."""
    instruments["supply"].write(command)
    assert instruments["supply"].query("VOLT?") == "2.5"


def test_out_of_range_is_222_and_changes_nothing(instruments: Instruments) -> None:
    """7 V on a 6 V supply is refused."""
    supply = instruments["supply"]
    supply.write("VOLT 3.0")
    supply.write("VOLT 7.0")
    assert supply.query("SYST:ERR?").startswith("-222,")
    assert supply.query("VOLT?") == "3"
    assert supply.query("SYST:ERR?").startswith("0,")


@pytest.mark.parametrize(
    ("name", "command", "number"),
    [
        ("supply", "VOLT", -109),
        ("supply", "VOLT abc", -104),
        ("supply", "VOLT 3 A", -131),
        ("supply", "INST:NSEL 13", -222),
        ("supply", "OUTP MAYBE", -224),
        ("supply", "FOO:BAR 1", -113),
        ("relays", "ROUT:CLOS (@199)", -222),
        ("meter", "VOLT:DC:NPLC 1000", -222),
        ("decade", "RES 0.5", -222),
    ],
)
def test_errors_have_their_numbers(
    instruments: Instruments, name: str, command: str, number: int
) -> None:
    """Each mistake has the standard's number."""
    instruments[name].write(command)
    said = instruments[name].query("SYST:ERR?")
    assert number == int(said.split(",")[0])


def test_output_on_and_off(instruments: Instruments, twin: Twin) -> None:
    """Terminal voltage follows the output switch, and is measured."""
    supply = instruments["supply"]
    supply.write("INST:NSEL 1;:VOLT 3.3;:OUTP ON")
    time.sleep(0.01)
    assert supply.query("OUTP?") == "1"
    assert pytest.approx(3.3, abs=0.02) == float(supply.query("MEAS:VOLT?"))
    assert pytest.approx(3.3, abs=0.02) == twin.truth.pin_volts()[1] - twin.truth.pin_volts()[0]
    supply.write("OUTP OFF")
    time.sleep(0.01)
    assert float(supply.query("MEAS:VOLT?")) < 0.02


def test_meter_reads_what_the_relay_selects(instruments: Instruments, twin: Twin) -> None:
    """Within its specification of 35 ppm of reading and 5 ppm of range, at the pins."""
    supply, meter, relays = (instruments[name] for name in ("supply", "meter", "relays"))
    for channel in range(1, 13):
        supply.write(f"INST:NSEL {channel};:VOLT {3.0 + 0.05 * channel};:OUTP ON")
    meter.write("CONF:VOLT:DC 10;:VOLT:DC:NPLC 1;:SAMP:COUN 2")
    assert relays.query("ROUT:CLOS (@107);*OPC?") == "1"
    readings = [float(part) for part in meter.query("READ?").split(",")]
    pins = twin.truth.pin_volts()
    bound = 35e-6 * 3.35 + 5e-6 * 10 + 1e-6 + 5 * 7e-6
    assert pytest.approx([pins[7] - pins[6]] * 2, abs=bound) == readings
    assert relays.query("ROUT:CLOS? (@106:108)") == "0,1,0"
    relays.query("ROUT:OPEN:ALL;*OPC?")
    assert abs(float(meter.query("READ?").split(",")[0])) < 1e-4


def test_overload_is_9_9e37(instruments: Instruments) -> None:
    """3.3 V on the 1 V range."""
    instruments["supply"].write("INST:NSEL 1;:VOLT 3.3;:OUTP ON")
    instruments["relays"].query("ROUT:CLOS (@101);*OPC?")
    instruments["meter"].write("CONF:VOLT:DC 1")
    assert float(instruments["meter"].query("READ?")) == 9.9e37


def test_an_aperture_takes_its_time(instruments: Instruments) -> None:
    """Ten cycles at 50 Hz are 200 ms of simulated time, 10 ms here."""
    meter = instruments["meter"]
    meter.write("CONF:VOLT:DC 10;:VOLT:DC:NPLC 10")
    began = time.monotonic()
    meter.query("READ?")
    assert time.monotonic() - began >= 0.2 / SPEED


def test_meter_measures_the_decade(instruments: Instruments) -> None:
    """10 kohm within the decade's 1000 ppm, 0.3 ohm residual and 0.2 ohm of contacts."""
    assert instruments["decade"].query("RES 10000;RES?") == "10000"
    instruments["relays"].query("ROUT:CLOS (@114);*OPC?")
    instruments["meter"].write("CONF:RES 10000;:RES:NPLC 1")
    assert pytest.approx(10_000.5, abs=10 + 2) == float(instruments["meter"].query("READ?"))
    instruments["relays"].query("ROUT:OPEN:ALL;*OPC?")
    assert float(instruments["meter"].query("READ?")) == 9.9e37


def test_two_clients_of_one_instrument(
    instruments: Instruments, manager: pyvisa.ResourceManager, twin: Twin
) -> None:
    """Each gets its own answers, and both see the same state."""
    second = opened(manager, twin, "supply")
    instruments["supply"].write("INST:NSEL 5;:VOLT 1.5")
    assert instruments["supply"].query("*OPC?") == "1"
    assert second.query("INST:NSEL?;:VOLT?") == "5;1.5"
    second.close()


def test_unknown_query_has_no_answer(instruments: Instruments) -> None:
    """It times out, and the error queue says why."""
    supply = instruments["supply"]
    supply.timeout = 50
    with pytest.raises(pyvisa.VisaIOError):
        supply.query("FOO?")
    supply.timeout = 2000
    assert supply.query("SYST:ERR?").startswith("-113,")


# Planted instrument faults -----------------------------------------------------------------


def planted_query(
    manager: pyvisa.ResourceManager, fault: InstrumentFault, name: str, *queries: str
) -> list[str]:
    """Answers of a faulty instrument; a time-out or a lost connection is "nothing"."""
    answers = []
    with running_twin(instrument={name: fault}) as twin:
        resource = opened(manager, twin, name)
        resource.timeout = 100
        for query in queries:
            try:
                answers.append(resource.query(query))
            except (pyvisa.VisaIOError, OSError):
                answers.append("nothing")
        resource.close()
    return answers


def test_wrong_identity(manager: pyvisa.ResourceManager) -> None:
    """Another instrument answers."""
    fault = InstrumentFault(identity="Other,thing,0,1")
    assert planted_query(manager, fault, "meter", "*IDN?") == ["Other,thing,0,1"]


def test_refused_value(manager: pyvisa.ResourceManager) -> None:
    """-222 above the planted bound, which the range itself would allow."""
    fault = InstrumentFault(refuses_above_volts=3.0)
    said = planted_query(manager, fault, "supply", "VOLT 3.3;VOLT?", "SYST:ERR?")
    assert said[0] == "0"
    assert said[1].startswith("-222,")


def test_meter_falls_silent(manager: pyvisa.ResourceManager) -> None:
    """After one reading READ? gets no answer, other queries do."""
    fault = InstrumentFault(silent_after_readings=1)
    said = planted_query(manager, fault, "meter", "READ?", "READ?", "*OPC?")
    assert said[0] != "nothing"
    assert said[1:] == ["nothing", "1"]


def test_connection_dropped(manager: pyvisa.ResourceManager) -> None:
    """After two messages the socket is closed."""
    fault = InstrumentFault(drop_after_messages=2)
    assert planted_query(manager, fault, "meter", *["*OPC?"] * 3) == ["1", "1", "nothing"]


def test_late_reply(manager: pyvisa.ResourceManager) -> None:
    """4 s of simulated time are 200 ms here: too late for a time-out of 100 ms."""
    fault = InstrumentFault(late_seconds=4.0)
    assert planted_query(manager, fault, "meter", "*OPC?") == ["nothing"]


def test_a_fault_that_passes(manager: pyvisa.ResourceManager) -> None:
    """One message is met with silence, the next is answered again."""
    fault = InstrumentFault(silent_after_messages=1, lasting_messages=1)
    said = planted_query(manager, fault, "meter", *["*OPC?"] * 3)
    assert said == ["1", "nothing", "1"]


def test_lateness_that_begins_later(manager: pyvisa.ResourceManager) -> None:
    """The first answer is in time."""
    fault = InstrumentFault(late_seconds=4.0, late_after_messages=1)
    assert planted_query(manager, fault, "meter", *["*OPC?"] * 2) == ["1", "nothing"]


def test_errors_in_the_queue_from_before(manager: pyvisa.ResourceManager) -> None:
    """The first SYST:ERR? tells somebody else's mistake."""
    fault = InstrumentFault(queued_errors=(-113,))
    said = planted_query(manager, fault, "meter", "SYST:ERR?", "SYST:ERR?")
    assert said[0].startswith("-113,")
    assert said[1].startswith("0,")


def test_lying_read_back(manager: pyvisa.ResourceManager) -> None:
    """VOLT? is 50 mV above what was set."""
    fault = InstrumentFault(setpoint_readback_offset_volts=0.05)
    assert planted_query(manager, fault, "supply", "VOLT 3.3;VOLT?") == ["3.35"]


def test_stuck_relay(manager: pyvisa.ResourceManager) -> None:
    """It answers *OPC? and has not closed."""
    fault = InstrumentFault(stuck_relays=("105",))
    said = planted_query(manager, fault, "relays", "ROUT:CLOS (@105);*OPC?", "ROUT:CLOS? (@105)")
    assert said == ["1", "0"]


def test_stuck_relay_that_its_card_does_not_see(manager: pyvisa.ResourceManager) -> None:
    """The card answers what it was told."""
    fault = InstrumentFault(stuck_relays=("105",), hides_stuck_relays=True)
    said = planted_query(manager, fault, "relays", "ROUT:CLOS (@105);*OPC?", "ROUT:CLOS? (@105)")
    assert said == ["1", "1"]
