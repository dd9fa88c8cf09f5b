"""The relay card's messages."""

from __future__ import annotations

import dataclasses

import pytest
from scripted_wire import HandClock, transport

from harness.descriptions.instrument import Dialogue, SwitchModel
from harness.errors import MisuseError
from harness.instruments.faults import (
    InstrumentRefused,
    RelayConflict,
    SetPointMismatch,
    UnexpectedReply,
)
from harness.instruments.relay_guard import RelayGuard
from harness.instruments.switch import Switch

PLACE = "relays (TCPIP::bench::5025::SOCKET)"
OK = '+0,"No error"'
MODEL = SwitchModel(
    role="switch",
    name="S",
    identity="S",
    relays=("101", "102", "103"),
    operate_seconds=0.005,
    release_seconds=0.002,
)
OPEN_ALL = ("ROUT:OPEN:ALL;*OPC?;:SYST:ERR?", f"1;{OK}")
ASKED = "ROUT:CLOS? (@101,102,103)"
NONE_CLOSED = (ASKED, "0,0,0")
ONLY_101 = (ASKED, "1,0,0")
CLOSE_101 = ("ROUT:CLOS (@101);*OPC?;:SYST:ERR?", f"1;{OK}")


def switch(wire, clock: HandClock | None = None, dialogue: Dialogue | None = None) -> Switch:
    guard = RelayGuard([[("relays", "101"), ("relays", "103")]])
    return Switch(transport(wire, "relays", dialogue, clock), MODEL, "relays", guard)


def test_open_opens_all_relays(script):
    """Whatever another program left closed."""
    made = switch(
        script(("*IDN?", "S,1,2,3"), ("*CLS", None), ("SYST:ERR?", OK), OPEN_ALL, NONE_CLOSED),
    )
    made.open()
    assert frozenset() == made.closed


def test_route_breaks_before_it_makes(script):
    """One message: open, wait, close, wait."""
    made = switch(
        script(
            OPEN_ALL,
            CLOSE_101,
            ONLY_101,
            ("ROUT:OPEN (@101);*WAI;:ROUT:CLOS (@102,103);*OPC?;:SYST:ERR?", f"1;{OK}"),
            (ASKED, "0,1,1"),
        )
    )
    made.route(frozenset({"101"}))
    made.route(frozenset({"103", "102"}))
    assert frozenset({"102", "103"}) == made.closed


def test_route_that_stands_costs_nothing(script):
    """No message."""
    made = switch(script(OPEN_ALL, CLOSE_101, ONLY_101))
    made.route(frozenset({"101"}))
    made.route(frozenset({"101"}))


def test_route_keeps_what_stays_closed(script):
    """Only the difference moves."""
    closes_102 = ("ROUT:CLOS (@102);*OPC?;:SYST:ERR?", f"1;{OK}")
    made = switch(script(OPEN_ALL, CLOSE_101, ONLY_101, closes_102, (ASKED, "1,1,0")))
    made.route(frozenset({"101"}))
    made.route(frozenset({"101", "102"}))


def test_declared_times_are_waited_for(script):
    """Some cards answer *OPC? at once: 2 ms for all open, 5 ms for one closed."""
    clock = HandClock()
    switch(script(OPEN_ALL, CLOSE_101, ONLY_101), clock).route(frozenset({"101"}))
    assert pytest.approx(100.007) == clock.now()


def test_without_compound_messages_each_goes_alone(script):
    """In the same order, with *OPC? last."""
    made = switch(
        script(
            ("ROUT:OPEN:ALL", None),
            ("*OPC?", "1"),
            ("SYST:ERR?", OK),
            ("ROUT:CLOS (@102)", None),
            ("*OPC?", "1"),
            ("SYST:ERR?", OK),
            (ASKED, "0,1,0"),
        ),
        dialogue=Dialogue(compound=False),
    )
    made.route(frozenset({"102"}))


def test_conflict_is_refused_before_anything_is_sent(script):
    """Two relays that would short tap to tap."""
    made = switch(script(OPEN_ALL))
    with pytest.raises(RelayConflict, match="relays relays:101 and relays:103"):
        made.route(frozenset({"101", "103"}))
    assert frozenset() == made.closed


def test_unknown_relay_is_our_fault(script):
    """The model has no such relay."""
    with pytest.raises(MisuseError) as caught:
        switch(script()).route(frozenset({"999"}))
    assert f"{PLACE}: expected relays of its model, got ['999']" == str(caught.value)


def test_after_a_refusal_all_is_opened_first(script):
    """Nobody knows what is closed then."""
    made = switch(
        script(
            OPEN_ALL,
            ("ROUT:CLOS (@101);*OPC?;:SYST:ERR?", '1;-241,"Hardware missing"'),
            ("SYST:ERR?", OK),
            OPEN_ALL,
            CLOSE_101,
            ONLY_101,
        )
    )
    with pytest.raises(InstrumentRefused, match='got -241,"Hardware missing"'):
        made.route(frozenset({"101"}))
    assert made.closed is None
    made.route(frozenset({"101"}))


def test_operation_that_does_not_complete_is_told(script):
    """*OPC? must say 1."""
    with pytest.raises(UnexpectedReply, match=r'sent "\*OPC\?": expected 1, got "0"'):
        switch(script(("ROUT:OPEN:ALL;*OPC?;:SYST:ERR?", f"0;{OK}"))).open_all()


@pytest.mark.parametrize(
    ("said", "seen", "words"),
    [
        ("0,0,0", [], "relay 101 stays open"),
        ("1,0,1", ["101", "103"], "relay 103 stays closed"),
        ("0,1,0", ["102"], "relay 101 stays open, relay 102 stays closed"),
    ],
)
def test_relay_that_does_not_move_is_told_by_its_number(script, said, seen, words):
    """The first time that it is used, before anything is measured through it."""
    made = switch(script(OPEN_ALL, CLOSE_101, (ASKED, said)))
    with pytest.raises(SetPointMismatch) as caught:
        made.route(frozenset({"101"}))
    assert str(caught.value) == (
        f"{PLACE}: expected closed ['101'], got {seen}: {words}; "
        "see that nothing else drives the card, and check the relays"
    )
    assert made.closed is None


def test_relay_that_stays_closed_is_told_at_opening(script):
    """Before anything is energised."""
    made = switch(
        script(("*IDN?", "S,1"), ("*CLS", None), ("SYST:ERR?", OK), OPEN_ALL, (ASKED, "0,1,0"))
    )
    with pytest.raises(SetPointMismatch, match="relay 102 stays closed"):
        made.open()


def test_card_is_asked_only_once_about_the_same_relays(script):
    """To and fro costs two messages more, not four."""
    open_101 = ("ROUT:OPEN (@101);*OPC?;:SYST:ERR?", f"1;{OK}")
    made = switch(script(OPEN_ALL, CLOSE_101, ONLY_101, open_101, NONE_CLOSED, CLOSE_101, open_101))
    for _ in range(2):
        made.route(frozenset({"101"}))
        made.route(frozenset())


def test_large_card_is_asked_in_several_messages(script):
    """Of at most 240 characters: 60 relays are two."""
    names = [str(n) for n in range(101, 161)]
    asked = [f"ROUT:CLOS? (@{','.join(part)})" for part in (names[:56], names[56:])]
    assert 240 >= len(asked[0]) > 236
    wire = script(OPEN_ALL, *zip(asked, [",".join("0" * 56), ",".join("0" * 4)], strict=True))
    large = dataclasses.replace(MODEL, relays=tuple(names))
    made = Switch(transport(wire, "relays", None, None), large, "relays", RelayGuard([]))
    made.open_all()
    made.verify()


def test_way_out_opens_relays_after_a_message_cut_off(script):
    """As when a stop comes where the lock is to be given back."""
    made = switch(script(("READ?", None), OPEN_ALL))
    made.transport.start("READ?")
    made.transport._asked = None
    made.safe_open()
    assert frozenset() == made.closed


def test_verify_tells_a_short_answer(script):
    """One answer a relay."""
    with pytest.raises(UnexpectedReply, match='expected 3 answers, got "1,0"'):
        switch(script((ASKED, "1,0"))).verify()
