"""Identity, error queue, compound and single messages, reply forms."""

from __future__ import annotations

import pytest
from scripted_wire import transport

from harness.descriptions.instrument import Dialogue
from harness.instruments.driver import MOST_QUEUED_ERRORS, Driver, is_question
from harness.instruments.faults import InstrumentRefused, UnexpectedReply, WrongInstrument

PLACE = "meter (TCPIP::bench::5025::SOCKET)"
NO_ERROR = '+0,"No error"'


def driver(wire, dialogue: Dialogue | None = None) -> Driver:
    return Driver(transport(wire, dialogue=dialogue), "generic-meter")


def test_open_checks_identity_then_clears_status_and_queue(script):
    """Old errors are read away, so that the next one is ours."""
    opened = driver(
        script(
            ("*IDN?", "X,generic-meter-6digit,1,2"),
            ("*CLS", None),
            ("SYST:ERR?", '-113,"Undefined header"'),
            ("SYST:ERR?", NO_ERROR),
        )
    )
    opened.open()
    assert "X,generic-meter-6digit,1,2" == opened.identity


def test_wrong_instrument_is_named(script):
    """Before anything else is sent to it."""
    with pytest.raises(WrongInstrument) as caught:
        driver(script(("*IDN?", "X,some-supply,1,2"))).open()
    assert str(caught.value) == (
        f'{PLACE}: sent "*IDN?": expected an answer that matches "generic-meter", got '
        '"X,some-supply,1,2"; check the resource in the bench file and identity in the model '
        "description"
    )


def test_compound_exchange_is_one_message(script):
    """Commands, questions and the error queue in one round trip."""
    wire = script(("VOLT 1.0;:VOLT?;*OPC?;:SYST:ERR?", f"1.0;1;{NO_ERROR}"))
    assert ["1.0", "1"] == driver(wire).exchange(["VOLT 1.0", "", "VOLT?", "*OPC?"])


def test_single_messages_where_compound_is_not_understood(script):
    """One round trip each, in the same order."""
    wire = script(("VOLT 1.0", None), ("VOLT?", "1.0"), ("SYST:ERR?", NO_ERROR))
    assert ["1.0"] == driver(wire, Dialogue(compound=False)).exchange(["VOLT 1.0", "VOLT?"])


@pytest.mark.parametrize("compound", [True, False])
def test_without_an_error_queue_a_command_is_only_sent(script, compound):
    """Nothing is asked of an instrument that has none."""
    dialogue = Dialogue(compound=compound, error_query="")
    assert [] == driver(script(("VOLT 1.0", None)), dialogue).exchange(["VOLT 1.0"])


def test_refused_command_names_all_queued_errors(script):
    """The queue is emptied, so that the next exchange starts clean."""
    wire = script(
        ("VOLT 99.0;:SYST:ERR?", '-222,"Data out of range"'),
        ("SYST:ERR?", '-350,"Queue overflow"'),
        ("SYST:ERR?", NO_ERROR),
    )
    with pytest.raises(InstrumentRefused) as caught:
        driver(wire).exchange(["VOLT 99.0"])
    assert str(caught.value) == (
        f'{PLACE}: sent "VOLT 99.0;:SYST:ERR?": expected no error, got -222,"Data out of range"; '
        '-350,"Queue overflow"; compare the command and its value with the model description'
    )


def test_error_comes_before_a_missing_answer(script):
    """An unknown question among others gives no answer and an error; the error says more."""
    wire = script(
        ("FOO?;:SYST:ERR?", '-113,"Undefined header;FOO?"'),
        ("SYST:ERR?", NO_ERROR),
    )
    with pytest.raises(InstrumentRefused, match=r'got -113,"Undefined header;FOO[?]"'):
        driver(wire).exchange(["FOO?"])


def test_wrong_number_of_answers_is_told(script):
    """Answers cannot be told apart then."""
    with pytest.raises(UnexpectedReply) as caught:
        driver(script(("A?;:B?;:SYST:ERR?", f"1;{NO_ERROR}"))).exchange(["A?", "B?"])
    assert str(caught.value) == (
        f'{PLACE}: sent "A?;:B?;:SYST:ERR?": expected 3 answers, got "1;{NO_ERROR}"; '
        "compare the command with the instrument's manual and the model description"
    )


def test_endless_error_queue_is_given_up(script):
    """An instrument that never says 0 does not hang the run."""
    wire = script(*[("SYST:ERR?", '-100,"Command error"')] * MOST_QUEUED_ERRORS)
    assert MOST_QUEUED_ERRORS == len(driver(wire).take_errors())


@pytest.mark.parametrize(
    ("method", "said", "expected"),
    [
        ("number", "abc", "a number"),
        ("number", "9.9E37", "a number"),
        ("number", "", "a number"),
        ("reading", "1.0;2.0", "a number"),
        ("boolean", "MAYBE", "0 or 1"),
    ],
)
def test_reply_of_the_wrong_form_is_told(script, method, said, expected):
    """Instrument, question, what was expected, what came, what to do."""
    with pytest.raises(UnexpectedReply) as caught:
        getattr(driver(script()), method)("READ?", said)
    assert str(caught.value) == (
        f'{PLACE}: sent "READ?": expected {expected}, got "{said}"; '
        "compare the command with the instrument's manual and the model description"
    )


def test_error_reply_without_a_number_is_told(script):
    """Also what comes for the error query is looked at."""
    with pytest.raises(UnexpectedReply, match='expected an error number and text, got "hello"'):
        driver(script(("SYST:ERR?", "hello"))).take_errors()


@pytest.mark.parametrize(
    ("unit", "expected"),
    [("VOLT?", True), ("ROUT:CLOS? (@101)", True), ("VOLT 3", False), ("DISP 'why?'", False)],
)
def test_question_by_its_header(unit, expected):
    """A question mark elsewhere asks nothing."""
    assert expected == is_question(unit)
