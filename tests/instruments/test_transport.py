"""The conversation stays in step, whatever comes late, by halves or not at all."""

from __future__ import annotations

import threading

import pytest
from scripted_wire import HandClock, Late, SendFault, transport

from harness.descriptions.instrument import Dialogue
from harness.errors import InstrumentError, MisuseError
from harness.instruments.faults import ConnectionLost, InstrumentMissing, InstrumentSilent
from harness.instruments.wire import WireClosed, WireMissing, WireTimeout

PLACE = "meter (TCPIP::bench::5025::SOCKET)"


def opened(wire, **kwargs):
    """A transport that knows its instrument's identity and has heard from it."""
    made = transport(wire, **kwargs)
    made.identity = made.query("*IDN?")
    return made


def test_query_strips_terminations(script):
    """CR, NUL and blanks round an answer are no part of it."""
    assert "1.5" == transport(script(("READ?", " 1.5\0\r"))).query("READ?")


def test_silence_names_command_time_and_error_queue(script):
    """An unknown query gets no answer; the error queue says why."""
    wire = script(
        ("*IDN?", "a,b,c,d"),
        ("REED?", None),
        ("*IDN?", "a,b,c,d"),
        ("*OPC?", "1"),
        ("SYST:ERR?", '-113,"Undefined header"'),
    )
    with pytest.raises(InstrumentSilent) as caught:
        opened(wire).query("REED?")
    assert str(caught.value) == (
        f'{PLACE}: sent "REED?": expected an answer within 3 s, got nothing; its error queue says '
        '-113,"Undefined header"; correct the command in the model description'
    )


def test_silence_without_error_gives_advice(script):
    """An instrument that still answers *IDN? was only too slow."""
    wire = script(
        ("*IDN?", "a,b,c,d"),
        ("READ?", WireTimeout(b"1.2")),
        ("*IDN?", "a,b,c,d"),
        ("*OPC?", "1"),
        ("SYST:ERR?", '+0,"No error"'),
    )
    with pytest.raises(InstrumentSilent) as caught:
        opened(wire).query("READ?")
    assert str(caught.value) == (
        f'{PLACE}: sent "READ?": expected an answer within 3 s, got only "1.2"; it answers *IDN? '
        "and reports no error; check that it is switched on and under remote control, or raise "
        "dialogue.timeout_seconds of its model"
    )


def test_dead_instrument_is_said_to_be_dead(script):
    """When nothing answers any more, the message says so."""
    wire = script(("*IDN?", "a"), ("READ?", None), ("*IDN?", None), ("*IDN?", None))
    with pytest.raises(InstrumentSilent) as caught:
        opened(wire).query("READ?")
    assert str(caught.value) == (
        f'{PLACE}: sent "READ?": expected an answer within 3 s, got nothing; it does not answer '
        "*IDN? and SYST:ERR? either; check that it is switched on and under remote control, or "
        "raise dialogue.timeout_seconds of its model"
    )


SILENT = Dialogue(error_query="")


@pytest.mark.parametrize(
    "resync",
    [
        pytest.param([("*IDN?", "me"), ("*OPC?", "1")], id="old answer dropped on draining"),
        pytest.param([("*IDN?", ["old", "me"]), ("*OPC?", "1")], id="old answer comes first"),
        pytest.param([("*IDN?", "me"), ("*OPC?", ["me", "1"])], id="old answer is an identity"),
        pytest.param([("*IDN?", ["REST", "me"]), ("*OPC?", "1")], id="tail of a half answer"),
    ],
)
def test_late_answer_is_never_taken_for_the_next(script, resync):
    """After a time-out the next query gets its own answer."""
    wire = script(("*IDN?", "me"), ("SLOW?", None), *resync, ("VOLT?", "3.3"))
    link = opened(wire, dialogue=SILENT)
    with pytest.raises(InstrumentSilent):
        link.query("SLOW?")
    assert "3.3" == link.query("VOLT?")


def test_answer_that_comes_during_resynchronisation_is_dropped(script):
    """The answer may come between draining and the identity."""
    wire = script(
        ("*IDN?", "me"),
        ("SLOW?", Late("99")),
        ("*IDN?", "me"),
        ("*OPC?", "1"),
        ("VOLT?", "3.3"),
    )
    link = opened(wire, dialogue=SILENT)
    with pytest.raises(InstrumentSilent):
        link.query("SLOW?")
    assert "3.3" == link.query("VOLT?")


def test_nothing_is_sent_twice_after_a_timeout(script):
    """Whether a command was carried out is unknown, so the transport never repeats it."""
    wire = script(
        ("*IDN?", "me"), ("INIT;*OPC?", None), ("*IDN?", "me"), ("*OPC?", "1"), ("A?", "2")
    )
    link = opened(wire, dialogue=SILENT)
    with pytest.raises(InstrumentSilent):
        link.query("INIT;*OPC?")
    assert "2" == link.query("A?")


def test_unasked_input_is_cleared_before_the_next_query(script):
    """Something lying in the connection is not taken for an answer."""
    wire = script(
        ("*IDN?", "me"), ("A?", ["1", "stray"]), ("*IDN?", "me"), ("*OPC?", "1"), ("B?", "2")
    )
    link = opened(wire)
    assert "1" == link.query("A?")
    assert "2" == link.query("B?")
    assert 1 == wire.drained


def test_reconnects_when_resynchronisation_fails(script):
    """A new connection knows no old answers."""
    wire = script(("*IDN?", "me"), ("A?", None), ("*IDN?", None), ("*IDN?", "me"), ("B?", "2"))
    link = opened(wire, dialogue=SILENT)
    with pytest.raises(InstrumentSilent):
        link.query("A?")
    assert "2" == link.query("B?")
    assert 1 == wire.reopened


def test_endless_chatter_does_not_hold_resynchronisation_for_ever(script, monkeypatch):
    """An instrument that sends without being asked is given up after the time for an answer."""
    wire = script(("*IDN?", "me"), ("A?", None), ("*IDN?", None), ("*IDN?", None))
    link = opened(wire, dialogue=Dialogue(error_query="", timeout_seconds=0.02))
    with pytest.raises(InstrumentSilent):
        link.query("A?")
    monkeypatch.setattr(wire, "receive", lambda timeout_seconds: b"chatter")
    with pytest.raises(InstrumentSilent, match='expected "me", got nothing of the kind'):
        link.query("B?")


def test_another_instrument_after_reconnecting_is_refused(script):
    """Behind the new connection the same instrument must stand."""
    wire = script(("*IDN?", "me"), ("A?", None), ("*IDN?", None), ("*IDN?", "someone else"))
    link = opened(wire, dialogue=SILENT)
    with pytest.raises(InstrumentSilent):
        link.query("A?")
    with pytest.raises(InstrumentSilent) as caught:
        link.query("B?")
    assert str(caught.value) == (
        f'{PLACE}: sent "*IDN?" on a new connection: expected "me", got nothing of the kind; '
        "check that it is switched on and under remote control"
    )


def test_closed_connection_is_told(script):
    """The far end closed instead of answering."""
    link = opened(script(("*IDN?", "me"), ("A?", WireClosed("closed by the instrument"))))
    with pytest.raises(ConnectionLost) as caught:
        link.query("A?")
    assert str(caught.value) == (
        f'{PLACE}: sent "A?": expected an answer, got the connection closed (closed by the '
        "instrument); check power and cable, and that nothing else talks to it"
    )


def test_connection_closed_between_messages_is_told(script):
    """A reconnection in silence could hide a restart, so it is an error first."""
    link = opened(script(("*IDN?", "me"), ("A?", ["1", WireClosed("closed by the instrument")])))
    link.query("A?")
    with pytest.raises(ConnectionLost) as caught:
        link.query("B?")
    assert str(caught.value) == (
        f"{PLACE}: sent nothing: expected an open connection, got it closed (closed by the "
        "instrument); check power and cable, and that nothing else talks to it"
    )


@pytest.mark.parametrize("error", [WireMissing("refused"), WireClosed("refused")])
def test_never_answered_means_missing(script, error):
    """A connection that opened and never answered has no instrument behind it."""
    with pytest.raises(InstrumentMissing) as caught:
        transport(script(("*IDN?", SendFault(error)))).query("*IDN?")
    assert str(caught.value) == (
        f'{PLACE}: sent "*IDN?": expected an instrument there, got refused; '
        "check power, cable and the resource in the bench file"
    )


def test_command_beyond_latin_1_is_refused_before_sending(script):
    """A character that no instrument knows is not sent."""
    with pytest.raises(InstrumentError) as caught:
        transport(script()).write("VOLT 1 \N{GREEK CAPITAL LETTER OMEGA}")
    assert str(caught.value) == (
        f"{PLACE}: sent nothing: expected only Latin-1 characters, "
        'got "VOLT 1 \N{GREEK CAPITAL LETTER OMEGA}"; correct the command in the model description'
    )


def test_start_and_finish_hold_the_instrument(script):
    """Between start and finish another thread waits its turn."""
    link = transport(script(("READ?", "1"), ("*OPC?", "1")))
    link.start("READ?")
    order: list[str] = []
    other = threading.Thread(target=lambda: order.append(link.query("*OPC?") + " other"))
    other.start()
    order.append(link.finish() + " mine")
    other.join()
    assert ["1 mine", "1 other"] == order


def test_second_message_before_finish_is_our_fault(script):
    """The thread that started must finish first."""
    link = transport(script(("READ?", None), ("A?", "1")))
    link.start("READ?")
    with pytest.raises(MisuseError) as caught:
        link.query("*OPC?")
    assert f"{PLACE}: expected finish() before the next message, got none" == str(caught.value)
    # The refused query gave the started one up, so that its lock does not stay behind.
    assert "1" == link.query("A?")


def test_finish_without_start_is_our_fault(script):
    """There is nothing to fetch."""
    with pytest.raises(MisuseError, match=r"expected a started query to finish, got none$"):
        transport(script()).finish()


def test_abandoned_query_leaves_the_link_to_be_resynchronised(script):
    """Giving up counts as out of step."""
    wire = script(("*IDN?", "me"), ("READ?", "9"), ("*IDN?", "me"), ("*OPC?", "1"), ("A?", "2"))
    link = opened(wire)
    link.start("READ?")
    link.abandon()
    assert "2" == link.query("A?")


def test_interrupt_while_waiting_frees_the_instrument(script, monkeypatch):
    """Ctrl-C in the middle of a query leaves it usable for switching off."""
    wire = script(("*IDN?", "me"), ("READ?", None), ("*IDN?", "me"), ("*OPC?", "1"), ("A?", "2"))
    link = opened(wire)
    receive = wire.receive

    def interrupted(timeout_seconds: float) -> bytes:
        monkeypatch.setattr(wire, "receive", receive)
        raise KeyboardInterrupt

    monkeypatch.setattr(wire, "receive", interrupted)
    with pytest.raises(KeyboardInterrupt):
        link.query("READ?")
    assert "2" == link.query("A?")


def test_pacing_waits_before_sending_and_before_reading(script):
    """Slow firmware is given its time on both sides."""
    clock = HandClock()
    link = transport(
        script(("A?", "1"), ("B?", "2")), dialogue=Dialogue(pacing_seconds=0.05), clock=clock
    )
    link.query("A?")
    link.query("B?")
    assert pytest.approx(100.15) == clock.now()


def test_timeouts_are_the_dialogues_or_the_callers(script):
    """A long measurement is given longer."""
    wire = script(("A?", "1"), ("B?", "2"))
    link = transport(wire)
    link.query("A?")
    link.query("B?", timeout_seconds=12.0)
    assert [3.0, 12.0] == wire.timeouts


def test_write_regardless_asks_nothing_even_out_of_step(script):
    """For switching off only: no resynchronisation comes before it."""
    wire = script(("*IDN?", "me"), ("A?", None), ("OUTP OFF", None))
    link = opened(wire, dialogue=SILENT)
    with pytest.raises(InstrumentSilent):
        link.query("A?")
    link.write_regardless("OUTP OFF")


def test_many_threads_get_their_own_answers(script):
    """A lock round each message and answer keeps them together."""
    lines = [(f"A{i}?", f"{i}") for i in range(8)]

    class Echo:
        def send(self, message: bytes) -> None:
            self.last = message

        def receive(self, timeout_seconds: float) -> bytes:
            return self.last

        def has_input(self) -> bool:
            return False

    link = transport(Echo())
    wrong: list[str] = []

    def talk(text: str) -> None:
        for _ in range(200):
            if link.query(text) != text:
                wrong.append(text)

    threads = [threading.Thread(target=talk, args=(sent,)) for sent, _ in lines]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert [] == wrong


def test_close_ends_the_connection(script):
    """Twice is as good as once."""
    wire = script()
    link = transport(wire)
    link.close()
    link.close()
    assert wire.is_closed


class InterruptedAfterTaking:
    """A lock whose first taking is followed by a signal, before its taker can note it."""

    def __init__(self, lock) -> None:
        self._lock = lock
        self._is_first = True

    def acquire(self) -> bool:
        assert self._lock.acquire(timeout=1.0), "locked out"
        if self._is_first:
            self._is_first = False
            raise KeyboardInterrupt
        return True

    def release(self) -> None:
        self._lock.release()


def test_a_signal_while_the_lock_is_taken_does_not_lock_out_switching_off(script):
    """Outputs are switched off in the thread that was interrupted: it must get the lock."""
    link = transport(script(("OUTP OFF;:OUTP?", "0")))
    link._lock = InterruptedAfterTaking(link._lock)
    with pytest.raises(KeyboardInterrupt):
        link.query("READ?")
    assert "0" == link.query("OUTP OFF;:OUTP?")


def test_reset_forgets_a_started_query_and_brings_the_link_in_step(script):
    """The answer that nobody fetched is never taken for the next one."""
    wire = script(
        ("*IDN?", "me"), ("READ?", Late("99")), ("*IDN?", "me"), ("*OPC?", "1"), ("VOLT?", "3.3")
    )
    link = opened(wire)
    link.start("READ?")
    link.reset()
    assert "3.3" == link.query("VOLT?")


def test_reset_gives_the_lock_back_however_often_it_was_taken(script):
    """Another thread can talk afterwards."""
    link = opened(script(("*IDN?", "me"), ("*IDN?", "me"), ("*OPC?", "1"), ("A?", "1")))
    link._lock.acquire()
    link._lock.acquire()
    link.reset()
    said: list[str] = []
    other = threading.Thread(target=lambda: said.append(link.query("A?")))
    other.start()
    other.join(5.0)
    assert ["1"] == said


def test_reset_leaves_what_another_thread_is_asking(script):
    """Only the thread that holds the lock may give it back."""
    link = opened(script(("*IDN?", "me"), ("A?", "1")))
    link.start("A?")
    other = threading.Thread(target=link.reset)
    other.start()
    other.join(5.0)
    assert "1" == link.finish()
