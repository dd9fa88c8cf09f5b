"""The instrument side: messages in, waits and replies out.

The table of dialogues follows what a free C implementation of SCPI answered when it was
queried over a socket; where the standard asks for more (a range check) this one gives it.
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from harness.errors import MisuseError
from harness.protocols.scpi_call import Call
from harness.protocols.scpi_device import Command, ScpiDevice
from harness.protocols.scpi_errors import ScpiFault
from harness.protocols.scpi_reply import parse_error

IDENTITY = "Invented,Bench supply,0,1.0"
APERTURE_SECONDS = 0.02


class Supply:
    """A small instrument behind the device, as a simulator would write it."""

    def __init__(self) -> None:
        self.volts = 0.0
        self.busy_seconds = 0.0
        self.device = ScpiDevice(
            IDENTITY,
            [
                Command("[SOURce:]VOLTage[:LEVel][:IMMediate][:AMPLitude]", self.set, 1),
                Command("[SOURce:]VOLTage[:LEVel][:IMMediate][:AMPLitude]?", self.get, (0, 1)),
                Command("[SOURce:]CURRent", lambda _: None, 1),
                Command("MEASure[:SCALar]:VOLTage[:DC]?", self.measure, (0, 2)),
                Command("MEASure:VOLTage:AC?", lambda _: "0"),
                Command("OUTPut#[:STATe]", lambda call: self.set_output(call), 1),
                Command("OUTPut#[:STATe]?", lambda call: str(call.suffixes[0])),
                Command("ROUTe:CLOSe?", lambda call: ",".join(call.channels(0)), 1),
            ],
            pending=lambda: self.busy_seconds,
            reset=self.reset,
            self_test=lambda: 0,
        )

    def set(self, call: Call) -> None:
        self.volts = call.number(0, 0.0, 60.0, unit="V")

    def get(self, call: Call) -> str:
        return str(call.number(0, 0.0, 60.0) if call.has(0) else self.volts)

    def measure(self, call: Call) -> Iterator[float]:
        del call
        yield APERTURE_SECONDS
        return f"{self.volts:+.3E}"

    def set_output(self, call: Call) -> None:
        if call.suffixes[0] > 2:
            raise ScpiFault(-114)
        call.boolean(0)

    def reset(self) -> None:
        self.volts = 0.0


def converse(device: ScpiDevice, message: str) -> tuple[str | None, float]:
    """The reply to a message, and the seconds that were waited."""
    execution = device.execute(message)
    waited = 0.0
    while True:
        try:
            waited += next(execution)
        except StopIteration as ended:
            return ended.value, waited


def answer(device: ScpiDevice, message: str) -> str | None:
    """The reply to a message."""
    return converse(device, message)[0]


def errors(device: ScpiDevice) -> list[int]:
    """All numbers in the error queue, which is empty afterwards."""
    found = []
    while (error := parse_error(answer(device, "SYST:ERR?") or "")).is_error:
        found.append(error.number)
    return found


DIALOGUES = [
    ("*IDN?", IDENTITY, [], 0),
    ("SYST:ERR?", '0,"No error"', [], 0),
    ("SYSTem:ERRor:NEXT?", '0,"No error"', [], 0),
    (":syst:err?", '0,"No error"', [], 0),
    ("SYSTE:ERR?", None, [-113], 32),
    ("FOO:BAR?", None, [-113], 32),
    ("*FOO?", None, [-113], 32),
    ("VOLT:PROT?", None, [-113], 32),
    ("MEAS:VOLT:DC?", "+0.000E+00", [], 0),
    ("MEAS:VOLT? 10,0.001", "+0.000E+00", [], 0),
    ("MEAS:VOLT? 1,2,3", None, [-108], 32),
    ("VOLT", None, [-109], 32),
    ("VOLT ABC", None, [-104], 32),
    ("VOLT 10A", None, [-131], 32),
    ("VOLT 10,,", None, [-101], 32),
    ("VOLT 61", None, [-222], 16),
    ("VOLT 1e400", None, [-222], 16),
    ("OUTP MAYBE", None, [-224], 16),
    ("OUTP3 ON", None, [-114], 32),
    ("OUTP2?;:OUTP:STAT?", "2;1", [], 0),
    ("*ESE 999;*ESE?", "0", [-222], 16),
    ("*IDN?;*OPC?", f"{IDENTITY};1", [], 0),
    ("*IDN?;:SYST:VERS?", f"{IDENTITY};1999.0", [], 0),
    ("SYST:VERS?;ERR?", '1999.0;0,"No error"', [], 0),
    ("MEAS:VOLT:DC?;AC?", "+0.000E+00;0", [], 0),
    ("MEAS:VOLT:DC?;MEAS:VOLT:AC?", "+0.000E+00", [-113], 32),
    ("MEAS:VOLT:DC?;*OPC?;AC?", "+0.000E+00;1;0", [], 0),
    ("*OPC?;FOO;*OPC?", "1;1", [-113], 32),
    ("SOUR:VOLT 61;VOLT 2;VOLT?", "2.0", [-222], 16),
    ("SOUR:VOLT 3;CURR 1;:VOLT?", "3.0", [], 0),
    ("VOLT? MAX", "60.0", [], 0),
    ("ROUT:CLOS? (@101,103:105)", "101,103,104,105", [], 0),
    ("ROUT:CLOS? (@)", None, [-170], 32),
    ("ROUT:CLOS? 1", None, [-104], 32),
    ("", None, [], 0),
    (";", None, [], 0),
    (" \t*IDN? ; ", IDENTITY, [], 0),
    ("STAT:QUES?;QUES:COND?", "0;0", [], 0),
    ("STAT:QUES:COND?;ENAB 3;ENAB?", "0;3", [], 0),
    ("*SRE 255;*SRE?", "191", [], 0),
    ("*TST?", "0", [], 0),
    ("FOO;BAR;:SYST:ERR:COUN?", "2", [-113, -113], 32),
]


@pytest.mark.parametrize(
    ("message", "reply", "queued", "event"), DIALOGUES, ids=[d[0] or "empty" for d in DIALOGUES]
)
def test_a_message_is_answered_as_the_standard_has_it(
    message: str, reply: str | None, queued: list[int], event: int
) -> None:
    """Reply, error queue and event status of each message, sent to a fresh instrument."""
    device = Supply().device
    answer(device, "*CLS")
    assert reply == answer(device, message)
    assert str(event) == answer(device, "*ESR?")
    assert queued == errors(device)


def test_the_undefined_header_stands_behind_the_semicolon() -> None:
    """What was not understood is told."""
    device = Supply().device
    answer(device, "FOO:BAR?")
    assert '-113,"Undefined header;FOO:BAR?"' == answer(device, "SYST:ERR?")


def test_a_refused_setting_changes_nothing() -> None:
    """Too many parameters are found before the handler acts."""
    supply = Supply()
    answer(supply.device, "VOLT 5")
    answer(supply.device, "VOLT 6,7")
    assert supply.volts == 5.0


def test_a_measurement_waits_for_its_aperture() -> None:
    """Each of two in a message."""
    reply, waited = converse(Supply().device, "MEAS:VOLT?;VOLT:DC?")
    assert "+0.000E+00;+0.000E+00" == reply
    assert pytest.approx(2 * APERTURE_SECONDS) == waited


@pytest.mark.parametrize(("message", "reply"), [("*OPC?", "1"), ("*WAI", None)])
def test_completion_is_waited_for(message: str, reply: str | None) -> None:
    """As long as something is pending, asked again after each wait."""
    supply = Supply()
    supply.busy_seconds = 0.3
    execution = supply.device.execute(message)
    assert 0.3 == next(execution)
    supply.busy_seconds = 0.1
    assert 0.1 == next(execution)
    supply.busy_seconds = 0.0
    with pytest.raises(StopIteration) as ended:
        next(execution)
    assert reply == ended.value.value


def test_opc_sets_its_bit_when_all_is_complete() -> None:
    """Not before."""
    supply = Supply()
    answer(supply.device, "*CLS")
    supply.busy_seconds = 0.3
    answer(supply.device, "*OPC")
    assert "0" == answer(supply.device, "*ESR?")
    supply.busy_seconds = 0.0
    assert "1" == answer(supply.device, "*ESR?")


@pytest.mark.parametrize("message", ["*CLS", "*RST"])
def test_clearing_and_reset_forget_opc(message: str) -> None:
    """IEEE 488.2-1992, 10.3 and 10.32: back to operation complete idle."""
    supply = Supply()
    supply.busy_seconds = 0.3
    answer(supply.device, f"*CLS;*OPC;{message}")
    supply.busy_seconds = 0.0
    assert "0" == answer(supply.device, "*ESR?")


def test_reset_resets_the_instrument_and_not_its_status() -> None:
    """The error queue and the masks stay."""
    supply = Supply()
    answer(supply.device, "VOLT 5;*ESE 32;FOO;*RST")
    assert (0.0, "32", [-113]) == (
        supply.volts,
        answer(supply.device, "*ESE?"),
        errors(supply.device),
    )


def test_the_status_byte_sees_the_reply_that_waits() -> None:
    """Message available, behind a query in the same message."""
    device = Supply().device
    answer(device, "*CLS")
    assert f"{IDENTITY};16" == answer(device, "*IDN?;*STB?")


def test_preset_clears_the_enable_masks() -> None:
    """Of both register sets."""
    device = Supply().device
    assert "0;0" == answer(device, "STAT:QUES:ENAB 3;:STAT:PRES;QUES:ENAB?;:STAT:OPER:ENAB?")


def test_an_error_from_outside_is_queued() -> None:
    """The server reports interrupted queries and overruns."""
    device = Supply().device
    device.report(-410)
    assert [-410] == errors(device)


def test_an_own_command_replaces_a_given_one() -> None:
    """An instrument that answers *OPC? at once can be simulated."""
    device = ScpiDevice(IDENTITY, [Command("*OPC?", lambda _: "1")], pending=lambda: 9.0)
    assert ("1", 0.0) == converse(device, "*OPC?")


def test_an_identity_has_four_fields() -> None:
    """Our own mistake is found at once."""
    with pytest.raises(MisuseError, match="maker,model,serial,firmware"):
        ScpiDevice("Invented", [])


@given(st.text(alphabet=st.sampled_from(list("VOLTMEAS:;?*, (@)\"'#12.-eé\t"))))
@settings(max_examples=200)
def test_no_message_breaks_the_device(message: str) -> None:
    """Any text ends in a reply or in the error queue, and the device goes on."""
    device = Supply().device
    converse(device, message)
    assert IDENTITY == answer(device, "*IDN?")


def test_a_thousand_suffixes_do_not_grow_the_device() -> None:
    """The memory of headers is bounded."""
    device = Supply().device
    for number in range(3000):
        answer(device, f"OUTP{number}?")
    assert len(device._found) <= 1000
