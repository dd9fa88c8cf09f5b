"""Tampered frames: the decoder must see exactly the fault that was planted."""

from __future__ import annotations

import numpy as np
import pytest
from simulated_benches import fixture_setup

from harness.descriptions.board import FrameLayout
from harness.observation import Quantity
from harness.protocols.frame_decoder import decoder_for
from harness.protocols.frame_encoder import encoder_for
from harness.protocols.frame_events import BadFrame, BadReason, FrameEvent, GoodFrame
from harness.simulator.faults import LinkFault
from harness.simulator.frame_faults import FrameTampering, shortened_layout

BOARDS = ["heron", "heron-key-value", "heron-json", "heron-binary"]


def layout_of(board: str) -> FrameLayout:
    return fixture_setup(board=board).board.frame


def frames(layout: FrameLayout, count: int) -> list[bytes]:
    encoder = encoder_for(layout)
    values = [
        {Quantity.CELL_VOLTAGE: 3.3, Quantity.STACK_VOLTAGE: 39.6, Quantity.TEMPERATURE: 25.0}.get(
            quantity, 0.0
        )
        for quantity, _ in encoder.columns
    ]
    return [encoder.encode(values, sequence) for sequence in range(count)]


def decoded(layout: FrameLayout, fault: LinkFault, count: int = 200) -> list[FrameEvent]:
    tampering = FrameTampering(fault, layout, np.random.default_rng(1))
    decoder = decoder_for(layout)
    sent = frames(layout, count)
    # A whole first frame, so that what follows is never taken for a partial one.
    events = list(decoder.receive(sent[0]))
    for frame in sent:
        events += decoder.receive(tampering.tampered(frame))
    return events


def bad_reasons(events: list[FrameEvent]) -> set[BadReason]:
    return {event.reason for event in events if isinstance(event, BadFrame)}


def good(events: list[FrameEvent]) -> list[GoodFrame]:
    return [event for event in events if isinstance(event, GoodFrame)]


@pytest.mark.parametrize("board", BOARDS)
def test_no_fault_no_change(board: str) -> None:
    """A clean link passes every frame on as it is."""
    layout = layout_of(board)
    tampering = FrameTampering(LinkFault(), layout, np.random.default_rng(1))
    assert frames(layout, 5) == [tampering.tampered(frame) for frame in frames(layout, 5)]


@pytest.mark.parametrize("board", ["heron", "heron-key-value", "heron-binary"])
def test_damaged_frames_fail_their_check(board: str) -> None:
    """A fifth damaged: about forty of two hundred are refused, none is misread."""
    events = decoded(layout_of(board), LinkFault(bad_check_share=0.2))
    assert 20 < sum(isinstance(event, BadFrame) for event in events) < 70
    assert {3.3} == {round(event.values[3], 6) for event in good(events)}


@pytest.mark.parametrize("board", BOARDS)
def test_dropped_frames_leave_gaps(board: str) -> None:
    """Half of the frames never come, and nothing else is wrong."""
    events = decoded(layout_of(board), LinkFault(dropped_share=0.5))
    assert 70 < len(good(events)) < 130
    assert bad_reasons(events) == set()


@pytest.mark.parametrize("board", ["heron", "heron-key-value", "heron-json"])
def test_text_in_a_field_has_a_right_check(board: str) -> None:
    """The check passes, the number does not."""
    fault = LinkFault(text_share=0.2, text_field=3, text="abc")
    assert {BadReason.NOT_A_NUMBER} == bad_reasons(decoded(layout_of(board), fault))


def test_eleven_cells_are_one_field_too_few() -> None:
    """The layout of a smaller firmware lacks exactly one column."""
    layout = layout_of("heron")
    short = shortened_layout(layout, 11)
    assert len(encoder_for(layout).columns) - 1 == len(encoder_for(short).columns)
    decoder = decoder_for(layout)
    events = [event for frame in frames(short, 20) for event in decoder.receive(frame)]
    assert BadReason.WRONG_FIELD_COUNT in bad_reasons(events)
    assert good(events) == []


@pytest.mark.parametrize("board", BOARDS)
def test_garbage_spoils_no_more_than_its_frames(board: str) -> None:
    """Random bytes before a fifth of the frames; most frames still come through unharmed."""
    events = decoded(layout_of(board), LinkFault(garbage_share=0.2))
    assert len(good(events)) > 140
    assert {3.3} == {round(event.values[3], 6) for event in good(events)}


def test_noise_lines_are_told_from_frames() -> None:
    """A line of latin-1 text now and then is bad, the frames round it are good."""
    fault = LinkFault(noise_line="Gr\u00fc\u00dfe", noise_line_every_frames=10)
    events = decoded(layout_of("heron"), fault)
    assert len(good(events)) == 200
    assert sum(isinstance(event, BadFrame) for event in events) == 20
