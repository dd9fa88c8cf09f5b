"""The relay card's messages."""

from __future__ import annotations

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
CLOSE_101 = ("ROUT:CLOS (@101);*OPC?;:SYST:ERR?", f"1;{OK}")


def switch(wire, clock: HandClock | None = None, dialogue: Dialogue | None = None) -> Switch:
    guard = RelayGuard([[("relays", "101"), ("relays", "103")]])
    return Switch(transport(wire, "relays", dialogue, clock), MODEL, "relays", guard)


def test_open_opens_all_relays(script):
    """Whatever another program left closed."""
    made = switch(
        script(("*IDN?", "S,1,2,3"), ("*CLS", None), ("SYST:ERR?", OK), OPEN_ALL),
    )
    made.open()
    assert frozenset() == made.closed


def test_route_breaks_before_it_makes(script):
    """One message: open, wait, close, wait."""
    made = switch(
        script(
            OPEN_ALL,
            CLOSE_101,
            ("ROUT:OPEN (@101);*WAI;:ROUT:CLOS (@102,103);*OPC?;:SYST:ERR?", f"1;{OK}"),
        )
    )
    made.route(frozenset({"101"}))
    made.route(frozenset({"103", "102"}))
    assert frozenset({"102", "103"}) == made.closed


def test_route_that_stands_costs_nothing(script):
    """No message."""
    made = switch(script(OPEN_ALL, CLOSE_101))
    made.route(frozenset({"101"}))
    made.route(frozenset({"101"}))


def test_route_keeps_what_stays_closed(script):
    """Only the difference moves."""
    made = switch(script(OPEN_ALL, CLOSE_101, ("ROUT:CLOS (@102);*OPC?;:SYST:ERR?", f"1;{OK}")))
    made.route(frozenset({"101"}))
    made.route(frozenset({"101", "102"}))


def test_declared_times_are_waited_for(script):
    """Some cards answer *OPC? at once: 2 ms for all open, 5 ms for one closed."""
    clock = HandClock()
    switch(script(OPEN_ALL, CLOSE_101), clock).route(frozenset({"101"}))
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


def test_verify_compares_with_the_card(script):
    """Asked on request."""
    made = switch(script(OPEN_ALL, CLOSE_101, ("ROUT:CLOS? (@101,102,103)", "1,0,1")))
    made.route(frozenset({"101"}))
    with pytest.raises(SetPointMismatch) as caught:
        made.verify()
    assert str(caught.value) == (
        f"{PLACE}: expected closed ['101'], got ['101', '103']; "
        "see that nothing else drives the card, and check the relays"
    )


@pytest.mark.parametrize("said", ["1,0,0"])
def test_verify_is_content_with_what_was_closed(script, said):
    """The card agrees."""
    made = switch(script(OPEN_ALL, CLOSE_101, ("ROUT:CLOS? (@101,102,103)", said)))
    made.route(frozenset({"101"}))
    made.verify()


def test_verify_tells_a_short_answer(script):
    """One answer a relay."""
    with pytest.raises(UnexpectedReply, match='expected 3 answers, got "1,0"'):
        switch(script(("ROUT:CLOS? (@101,102,103)", "1,0"))).verify()
