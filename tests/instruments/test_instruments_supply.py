"""The supply's messages: prepared before on, read back after every set, off whatever fails."""

from __future__ import annotations

import pytest
from scripted_wire import HandClock, SendFault, transport

from harness.descriptions.bench import Ceilings, Wiring
from harness.descriptions.instrument import Dialogue, SupplyCommands, SupplyModel
from harness.errors import OutputNotOffError, SafetyError
from harness.instruments.faults import (
    InstrumentRefused,
    InstrumentSilent,
    SetPointMismatch,
    UnexpectedReply,
)
from harness.instruments.supply import Supply
from harness.instruments.wire import WireClosed

PLACE = "supply (TCPIP::bench::5025::SOCKET)"
OK = '+0,"No error"'
CEILINGS = Ceilings(cell_volts=4.5, channel_amperes=0.1, off_volts=0.5, off_timeout_seconds=0.1)


def model(**changes) -> SupplyModel:
    declared = {
        "role": "supply",
        "name": "S",
        "identity": "S",
        "channels": 2,
        "highest_volts": 6.0,
        "highest_amperes": 0.5,
        "highest_protection_volts": 6.6,
        "set_resolution_volts": 0.0005,
    }
    return SupplyModel(**{**declared, **changes})


def supply(
    wire,
    cells: int = 1,
    clock: HandClock | None = None,
    dialogue: Dialogue | None = None,
    **changes,
) -> Supply:
    wiring = Wiring(
        topology="series", cells=cells, supply="supply", channels=tuple(range(1, cells + 1))
    )
    return Supply(transport(wire, "supply", dialogue, clock), model(**changes), CEILINGS, wiring)


def prepare_line(channel: int = 1, said: str = "0.0;0.1;4.5") -> tuple[str, str]:
    return (
        f"INST:NSEL {channel};:VOLT 0.0;:CURR 0.1;:VOLT:PROT 4.5;:VOLT?;:CURR?;:VOLT:PROT?;"
        ":SYST:ERR?",
        f"{said};{OK}",
    )


def on_line(channel: int = 1) -> tuple[str, str]:
    return (f"INST:NSEL {channel};:OUTP ON;:OUTP?;:SYST:ERR?", f"1;{OK}")


def set_line(volts: str, said: str, channel: int = 1) -> tuple[str, str]:
    return (f"INST:NSEL {channel};:VOLT {volts};:VOLT?;:SYST:ERR?", f"{said};{OK}")


def off_lines(channel: int = 1) -> list[tuple[str, str]]:
    return [
        set_line("0.0", "0.0", channel),
        (f"INST:NSEL {channel};:OUTP OFF;:OUTP?;:SYST:ERR?", f"0;{OK}"),
    ]


# The way out trusts no connection: whatever was going on there may have been cut off.
IN_STEP = [("*IDN?", "S,1,2,3"), ("*OPC?", "1")]


def measured_line(volts: str, channel: int = 1) -> tuple[str, str]:
    return (f"INST:NSEL {channel};:MEAS:VOLT?;:SYST:ERR?", f"{volts};{OK}")


def look_line(volts: str, amperes: str, tripped: str = "0") -> tuple[str, str]:
    """The first look at a channel; those that follow at one out of regulation are shorter."""
    return (
        "INST:NSEL 1;:MEAS:VOLT?;:MEAS:CURR?;:VOLT:PROT:TRIP?;:SYST:ERR?",
        f"{volts};{amperes};{tripped};{OK}",
    )


def regulation_line(volts: str, amperes: str) -> tuple[str, str]:
    return ("INST:NSEL 1;:MEAS:VOLT?;:MEAS:CURR?;:SYST:ERR?", f"{volts};{amperes};{OK}")


def energised(made: Supply) -> Supply:
    for channel in made.envelope.channels:
        made.prepare(channel, 0.1, 4.5)
    for channel in made.envelope.channels:
        made.output_on(channel)
    return made


# Opening and preparing --------------------------------------------------------------------


def opening_lines(*states: str) -> list[tuple[str, object]]:
    return [
        ("*IDN?", "S,1,2,3"),
        ("*CLS", None),
        ("SYST:ERR?", OK),
        *[
            (f"INST:NSEL {k};:OUTP?;:SYST:ERR?", f"{said};{OK}")
            for k, said in enumerate(states, start=1)
        ],
    ]


def test_open_is_content_when_all_outputs_are_off(script):
    """Every channel is asked."""
    supply(script(*opening_lines("0", "OFF")), cells=2).open()


def test_open_refuses_an_output_that_is_on(script):
    """Somebody else may be using it."""
    with pytest.raises(SafetyError) as caught:
        supply(script(*opening_lines("0", "1")), cells=2).open()
    assert str(caught.value) == (
        f"{PLACE}: output of channel 2: expected off before the run, got on; find out who uses "
        "it, switch it off at the instrument, then run again"
    )


def test_prepare_programs_and_reads_back_in_one_message(script):
    """0 V, current limit, protection."""
    made = supply(script(prepare_line()))
    made.prepare(1, 0.1, 4.5)
    state = made.envelope.state(1)
    assert (0.0, 0.1, 4.5) == (state.set_volts, state.limit_amperes, state.protection_volts)


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ("0.0;0.5;4.5", "expected 0.1 A read back, got 0.5 A"),
        ("0.0;0.1;6.6", "expected 4.5 V read back, got 6.6 V"),
        ("3.0;0.1;4.5", "expected 0 V read back, got 3 V"),
    ],
)
def test_prepare_tells_a_limit_that_reads_back_otherwise(script, said, words):
    """And no output can go on after that."""
    made = supply(script(prepare_line(said=said)))
    with pytest.raises(SetPointMismatch) as caught:
        made.prepare(1, 0.1, 4.5)
    assert str(caught.value) == (
        f"{PLACE}: channel 1: {words}; see that nothing else drives the supply, and check the "
        "ranges in its model description"
    )
    with pytest.raises(SafetyError):
        made.output_on(1)


def test_limits_above_the_ceilings_are_not_sent(script):
    """The envelope is asked first."""
    made = supply(script())
    with pytest.raises(SafetyError, match=r"at most 0\.1 A"):
        made.prepare(1, 0.2, 4.5)
    with pytest.raises(SafetyError, match=r"at most 5\.2 V"):
        made.prepare(1, 0.1, 6.0)


def test_output_without_preparation_is_not_sent(script):
    """The order of steps is the envelope's."""
    with pytest.raises(SafetyError, match="prepare the channel first"):
        supply(script()).output_on(1)


def test_supply_without_protection_on_cells_it_could_harm_stays_off(script):
    """6 V on cells of 4.5 V, and no over-voltage protection."""
    plain = SupplyCommands(set_protection="", get_protection="", protection_tripped="")
    line = ("INST:NSEL 1;:VOLT 0.0;:CURR 0.1;:VOLT?;:CURR?;:SYST:ERR?", f"0.0;0.1;{OK}")
    made = supply(script(line), commands=plain)
    made.prepare(1, 0.1, 4.5)
    with pytest.raises(SafetyError, match="got no over-voltage protection"):
        made.output_on(1)


def test_output_that_does_not_go_on_is_told(script):
    """By its own word."""
    made = supply(script(prepare_line(), ("INST:NSEL 1;:OUTP ON;:OUTP?;:SYST:ERR?", f"0;{OK}")))
    made.prepare(1, 0.1, 4.5)
    with pytest.raises(UnexpectedReply, match='expected 1 for the output of channel 1, got "0"'):
        made.output_on(1)


# Set-points -------------------------------------------------------------------------------


def test_set_point_is_read_back(script):
    """The answer may be rounded to the supply's resolution."""
    made = energised(supply(script(prepare_line(), on_line(), set_line("3.3", "3.2996"))))
    made.set_voltage(1, 3.3)
    assert {1: 3.3} == made.set_points()


def test_set_point_is_sent_in_steps_of_the_programming_resolution(script):
    """A ramp asks for 3.0179646..., which a supply with 0.5 mV steps cannot give."""
    made = energised(supply(script(prepare_line(), on_line(), set_line("3.018", "3.018"))))
    made.set_voltage(1, 3.0179646146254506)
    assert {1: 3.018} == made.set_points()


def test_set_point_that_reads_back_otherwise_is_told(script):
    """What stands is noted."""
    made = energised(supply(script(prepare_line(), on_line(), set_line("3.3", "3.2"))))
    with pytest.raises(SetPointMismatch) as caught:
        made.set_voltage(1, 3.3)
    assert str(caught.value) == (
        f"{PLACE}: channel 1: expected 3.3 V read back, got 3.2 V; see that nothing else drives "
        "the supply, and check the ranges in its model description"
    )
    assert {1: 3.2} == made.set_points()


def test_refused_set_point_is_told(script):
    """-222 with the command; both set-points stay possible."""
    line = ("INST:NSEL 1;:VOLT 3.3;:VOLT?;:SYST:ERR?", '0.0;-222,"Data out of range"')
    made = energised(supply(script(prepare_line(), on_line(), line, ("SYST:ERR?", OK))))
    with pytest.raises(InstrumentRefused) as caught:
        made.set_voltage(1, 3.3)
    assert str(caught.value) == (
        f'{PLACE}: sent "INST:NSEL 1;:VOLT 3.3;:VOLT?;:SYST:ERR?": expected no error, got '
        '-222,"Data out of range"; compare the command and its value with the model description'
    )
    assert (0.0, 3.3) == made.envelope.state(1).possible_volts


def test_set_point_above_its_ceiling_is_not_sent(script):
    """4.5 V a cell."""
    made = energised(supply(script(prepare_line(), on_line())))
    with pytest.raises(SafetyError, match=r"expected a set-point from 0 V to 4\.5 V"):
        made.set_voltage(1, 4.6)


def test_slope_is_waited_for(script):
    """Three cells up by 4 V each: one step of 6 V is in store, 10 V come in a second."""
    clock = HandClock()
    wire = script(
        *[prepare_line(k) for k in (1, 2, 3)], *[set_line("4.0", "4.0", k) for k in (1, 2, 3)]
    )
    made = supply(wire, cells=3, clock=clock)
    for channel in (1, 2, 3):
        made.prepare(channel, 0.1, 4.5)
    for channel in (1, 2, 3):
        made.set_voltage(channel, 4.0)
    assert pytest.approx(100.6) == clock.now()


def test_channels_share_messages_up_to_their_length(script):
    """Eight channels are two messages, the channel that stands already is left out."""
    one = "INST:NSEL {0};:VOLT 0.5;:VOLT?"
    first = ";:".join(one.format(k) for k in range(1, 8)) + ";:SYST:ERR?"
    assert len(first) <= 240
    wire = script(
        *[prepare_line(k) for k in range(1, 10)],
        (first, ";".join(["0.5"] * 7) + f";{OK}"),
        (one.format(8) + ";:SYST:ERR?", f"0.5;{OK}"),
    )
    made = supply(wire, cells=9)
    for channel in range(1, 10):
        made.prepare(channel, 0.1, 4.5)
    made.set_voltages({**dict.fromkeys(range(1, 9), 0.5), 9: 0.0})
    assert {**dict.fromkeys(range(1, 9), 0.5), 9: 0.0} == made.set_points()


def test_falling_channels_go_first(script):
    """So that the stack never stands above both its old and its new total."""
    clock = HandClock()
    wire = script(
        prepare_line(1),
        prepare_line(2),
        set_line("3.0", "3.0", 2),
        (
            "INST:NSEL 2;:VOLT 2.0;:VOLT?;:INST:NSEL 1;:VOLT 2.0;:VOLT?;:SYST:ERR?",
            f"2.0;2.0;{OK}",
        ),
    )
    made = supply(wire, cells=2, clock=clock)
    made.prepare(1, 0.1, 4.5)
    made.prepare(2, 0.1, 4.5)
    made.set_voltage(2, 3.0)
    clock.sleep(1.0)
    made.set_voltages({1: 2.0, 2: 2.0})


def test_single_messages_where_compound_is_not_understood(script):
    """Select, set, ask, error queue: one each."""
    wire = script(
        ("VOLT 0.0", None),
        ("CURR 0.1", None),
        ("VOLT:PROT 4.5", None),
        ("VOLT?", "0.0"),
        ("CURR?", "0.1"),
        ("VOLT:PROT?", "4.5"),
        ("SYST:ERR?", OK),
        ("VOLT 3.3", None),
        ("VOLT?", "3.3"),
        ("SYST:ERR?", OK),
    )
    made = supply(wire, dialogue=Dialogue(compound=False), commands=SupplyCommands(select=""))
    made.prepare(1, 0.1, 4.5)
    made.set_voltage(1, 3.3)


def test_channel_lists_in_the_command_itself(script):
    """Supplies that name the channel in each command need no select."""
    commands = SupplyCommands(select="", measure_voltage="MEAS:VOLT? (@{channel})")
    wire = script(("MEAS:VOLT? (@1);:MEAS:CURR?;:SYST:ERR?", f"1.5;0.01;{OK}"))
    measured = supply(wire, commands=commands).measure(1)
    assert (1.5, 0.01) == (measured.volts, measured.amperes)


# Regulation -------------------------------------------------------------------------------


def regulated(script, *lines: tuple[str, str]) -> Supply:
    made = supply(
        script(prepare_line(), on_line(), set_line("3.3", "3.3"), *lines), clock=HandClock()
    )
    energised(made).set_voltage(1, 3.3)
    return made


def test_channel_that_holds_its_voltage_is_content(script):
    """3.29 V at 10 mA."""
    regulated(script, look_line("3.29", "0.01")).check_regulation()


def test_inrush_may_pass(script):
    """At the limit at first, then not."""
    lines = [look_line("2.0", "0.1"), regulation_line("3.3", "0.01")]
    regulated(script, *lines).check_regulation()


@pytest.mark.parametrize(
    ("volts", "amperes", "words"),
    [
        (
            "3.3",
            "0.098",
            "expected less than its current limit of 0.1 A, got 0.098 A (constant current); "
            "look for a short circuit or a board that draws too much",
        ),
        (
            "3.2",
            "0.01",
            "expected 3.3 V within 0.0338 V, got 3.2 V; "
            "look for an overload or a broken sense lead",
        ),
        (
            "5.0",
            "0.0",
            "expected at most 4.5 V, got 5 V; look for what drives the channel from outside",
        ),
    ],
)
def test_channel_out_of_regulation_is_a_safety_fault(script, volts, amperes, words):
    """After 0.2 s of looking every 20 ms."""
    looks = [regulation_line(volts, amperes)] * 12
    made = regulated(script, look_line(volts, amperes), *looks)
    with pytest.raises(SafetyError) as caught:
        made.check_regulation()
    assert f"{PLACE}: channel 1: {words}" == str(caught.value)


def test_tripped_protection_is_a_safety_fault(script):
    """At once."""
    made = regulated(script, look_line("0.0", "0.0", tripped="1"))
    with pytest.raises(SafetyError) as caught:
        made.check_regulation()
    assert str(caught.value) == (
        f"{PLACE}: channel 1: expected no trip, got its over-voltage protection tripped; "
        "look for what drives the channel from outside"
    )


def test_channels_share_messages_when_looked_at(script):
    """Five channels are two messages, so that a look after every point costs little."""
    one = "INST:NSEL {0};:MEAS:VOLT?;:MEAS:CURR?;:VOLT:PROT:TRIP?"
    first = ";:".join(one.format(k) for k in range(1, 5)) + ";:SYST:ERR?"
    assert len(first) <= 240
    wire = script(
        *[prepare_line(k) for k in range(1, 6)],
        *[on_line(k) for k in range(1, 6)],
        (first, ";".join(["0.0;0.0;0"] * 4) + f";{OK}"),
        (one.format(5) + ";:SYST:ERR?", f"0.0;0.0;0;{OK}"),
    )
    energised(supply(wire, cells=5)).check_regulation()


def test_channels_that_are_off_are_not_looked_at(script):
    """No message."""
    supply(script()).check_regulation()


# Switching off ----------------------------------------------------------------------------


def test_off_is_commanded_and_measured(script):
    """Polled until below 0.5 V."""
    made = supply(
        script(
            *off_lines(1),
            *off_lines(2),
            *[measured_line("2.0", 1), measured_line("0.1", 2), measured_line("0.2", 1)],
        ),
        cells=2,
    )
    proof = made.safe_off()
    assert ({1: 0.2, 2: 0.1}, ()) == (dict(proof.volts), proof.faults)
    assert frozenset() == made.envelope.channels_on


def test_channel_that_stays_live_is_told(script):
    """Loudly, and with every channel's state."""
    made = supply(script(*off_lines(), *[measured_line("3.3")] * 7))
    with pytest.raises(OutputNotOffError) as caught:
        made.safe_off()
    assert str(caught.value) == (
        f"{PLACE}: expected every output measured below 0.5 V within 0.1 s, got channel 1 3.3 V; "
        "switch off by hand, and measure before touching anything"
    )


def test_refusal_on_one_channel_keeps_no_other_on(script):
    """Channel 1 refuses both commands; channel 2 goes off all the same; both are measured."""
    refused = '-200,"Execution error"'
    wire = script(
        ("INST:NSEL 1;:VOLT 0.0;:VOLT?;:SYST:ERR?", f"3.3;{refused}"),
        ("SYST:ERR?", OK),
        ("INST:NSEL 1;:OUTP OFF;:OUTP?;:SYST:ERR?", f"1;{refused}"),
        ("SYST:ERR?", OK),
        *off_lines(2),
        measured_line("0.0", 1),
        measured_line("0.0", 2),
    )
    assert 2 == len(supply(wire, cells=2).safe_off().faults)


def test_dropped_connection_is_made_anew_for_switching_off(script):
    """One failure of the connection is made good by reconnecting."""
    lines = off_lines()
    wire = script(
        ("*IDN?", "S,1,2,3"),
        *IN_STEP,
        (lines[0][0], WireClosed("reset")),
        ("INST:NSEL 1;:OUTP OFF", None),
        ("INST:NSEL 1;:VOLT 0.0", None),
        *IN_STEP,
        *lines,
        measured_line("0.0"),
    )
    made = supply(wire)
    made.transport.identity = made.transport.query("*IDN?")
    assert {1: 0.0} == made.safe_off().volts


def test_silent_supply_is_still_told_to_switch_off(script):
    """Commands are sent without waiting for answers; nothing measured means by hand."""
    blind = [
        ("INST:NSEL 1;:OUTP OFF", None),
        ("INST:NSEL 1;:VOLT 0.0", None),
        ("INST:NSEL 2;:OUTP OFF", None),
        ("INST:NSEL 2;:VOLT 0.0", None),
    ]
    first = ("INST:NSEL 1;:VOLT 0.0;:VOLT?", None)
    clock = HandClock()
    wire = script(first, *blind, first, *blind)
    made = supply(
        wire, cells=2, dialogue=Dialogue(error_query="", pacing_seconds=0.01), clock=clock
    )
    with pytest.raises(OutputNotOffError) as caught:
        made.safe_off()
    assert str(caught.value) == (
        f"{PLACE}: expected every output measured below 0.5 V within 0.1 s, got no measurement "
        "of channel 1, 2; switch off by hand, and measure before touching anything; last fault: "
        f'{PLACE}: sent "INST:NSEL 1;:VOLT 0.0;:VOLT?": expected an answer within 3 s, got '
        "nothing; check that it is switched on and under remote control, or raise "
        "dialogue.timeout_seconds of its model"
    )


def test_supply_that_comes_back_is_commanded_and_measured(script):
    """Reconnecting goes on until the time is up."""
    gone = SendFault(WireClosed("broken pipe"))
    lines = off_lines()
    wire = script(
        (lines[0][0], gone),
        ("INST:NSEL 1;:OUTP OFF", gone),
        ("INST:NSEL 1;:VOLT 0.0", gone),
        (lines[0][0], gone),
        ("INST:NSEL 1;:OUTP OFF", gone),
        ("INST:NSEL 1;:VOLT 0.0", gone),
        *lines,
        measured_line("0.0"),
    )
    proof = supply(wire, clock=HandClock()).safe_off()
    assert ({1: 0.0}, 3) == (dict(proof.volts), len(proof.faults))


def test_supply_that_has_gone_is_told(script):
    """Nothing can even be sent."""
    gone = SendFault(WireClosed("broken pipe"))
    one_round = [
        ("INST:NSEL 1;:VOLT 0.0;:VOLT?;:SYST:ERR?", gone),
        ("INST:NSEL 1;:OUTP OFF", gone),
        ("INST:NSEL 1;:VOLT 0.0", gone),
    ]
    with pytest.raises(OutputNotOffError, match="got no measurement of channel 1; switch off by"):
        supply(script(*one_round * 7)).safe_off()


def test_measurement_that_is_no_number_is_not_off(script):
    """NaN proves nothing."""
    made = supply(script(*off_lines(), *[measured_line("9.91E37")] * 7))
    with pytest.raises(OutputNotOffError, match="got no measurement of channel 1; switch off by"):
        made.safe_off()


def test_off_does_not_stumble_over_a_started_query(script):
    """An interrupted reading does not lock the supply against switching off."""
    wire = script(
        ("*IDN?", "S,1,2,3"),
        ("MEAS:VOLT?", None),
        ("*IDN?", "S,1,2,3"),
        ("*OPC?", "1"),
        *off_lines(),
        measured_line("0.0"),
    )
    made = supply(wire)
    made.transport.identity = made.transport.query("*IDN?")
    made.transport.start("MEAS:VOLT?")
    assert {1: 0.0} == made.safe_off().volts


def cut_off_at_its_ends(made: Supply) -> None:
    """As when a stop comes where the lock is to be given back: held, and nothing asked."""
    made.transport.start("MEAS:VOLT?")
    made.transport._asked = None


def cut_off_before_its_owner(made: Supply) -> None:
    """As when a stop comes between taking the lock and noting who has it."""
    made.transport._lock.acquire()


@pytest.mark.parametrize("cut_off", [cut_off_at_its_ends, cut_off_before_its_owner])
def test_off_does_not_stumble_over_a_message_cut_off_anywhere(script, cut_off):
    """The link is brought back in step, and every command is sent."""
    wire = script(*off_lines(), measured_line("0.0"))
    wire_before = [("MEAS:VOLT?", None)] if cut_off is cut_off_at_its_ends else []
    wire._lines.extendleft(reversed(wire_before))
    made = supply(wire)
    cut_off(made)
    assert {1: 0.0} == made.safe_off().volts
    made.transport.reset()
    assert not made.transport._lock._is_owned()


def test_a_defect_of_ours_keeps_no_channel_from_being_switched_off(script, monkeypatch):
    """Whatever fails above the connection, both commands go out to each channel blindly."""
    blind = [(f"INST:NSEL {k};:{unit}", None) for k in (1, 2) for unit in ("OUTP OFF", "VOLT 0.0")]
    made = supply(script(*blind * 7), cells=2)
    monkeypatch.setattr(made, "exchange", lambda units: 1 / 0)
    with pytest.raises(OutputNotOffError, match="last fault: ZeroDivisionError: division by zero"):
        made.safe_off()


def test_output_off_by_its_own_word(script):
    """One channel, without measuring."""
    line = ("INST:NSEL 1;:OUTP OFF;:OUTP?;:SYST:ERR?", f"1;{OK}")
    with pytest.raises(UnexpectedReply, match='expected 0 for the output of channel 1, got "1"'):
        supply(script(line)).output_off(1)


def test_silence_in_the_run_is_told(script):
    """As by every driver."""
    made = supply(
        script(("INST:NSEL 1;:MEAS:VOLT?;:MEAS:CURR?", None)), dialogue=Dialogue(error_query="")
    )
    with pytest.raises(InstrumentSilent):
        made.measure(1)
