"""What holds for the decoder of every layout."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from protocol_layouts import ALL_FORMS, csv, good, in_pieces, key_value, reasons, whole

from harness.protocols.frame_decoder import LineDecoder, decoder_for
from harness.protocols.frame_encoder import encoder_for
from harness.protocols.frame_events import BadFrame, BadReason, GoodFrame, PartialFrame

FORMS = pytest.mark.parametrize("layout", ALL_FORMS.values(), ids=list(ALL_FORMS))

# Bytes that make the parsers work: parts of frames of all forms, and anything.
PIECES = st.one_of(
    st.binary(max_size=40),
    st.sampled_from(
        [
            *(encoder_for(layout).encode([3.3, 3.2, 3.1], 7) for layout in ALL_FORMS.values()),
            b"\xa5\x5a",
            b"\xa5",
            b"\r\n",
            b">",
            b"*",
            b"1,2,3,4\n",
            b"nan,inf,1_0,\n",
            b'{"seq":1,"bank":{"cells":[1,2,null]}}\n',
            b"seq=1;c1=2;c2=3;c3=4\n",
        ]
    ),
)
STREAMS = st.lists(PIECES, max_size=12).map(b"".join)


@FORMS
@given(stream=STREAMS, data=st.data())
@settings(max_examples=60)
def test_any_way_of_cutting_gives_the_same_events(
    layout: Any, stream: bytes, data: st.DataObject
) -> None:
    """A serial port cuts where it likes."""
    cuts = data.draw(st.lists(st.integers(0, len(stream)), max_size=6))
    mid = data.draw(st.booleans())
    expected = in_pieces(layout, stream, [], starts_mid_stream=mid)
    assert repr(expected) == repr(in_pieces(layout, stream, cuts, starts_mid_stream=mid))


@FORMS
def test_byte_by_byte_gives_the_same_events(layout: Any) -> None:
    """The finest cut, with a broken frame and noise among good ones."""
    frame = encoder_for(layout).encode([3.3, 3.2, 3.1], 7)
    stream = frame[4:] + frame + frame[:-3] + b"noise" + frame * 3
    expected = in_pieces(layout, stream, [])
    assert repr(expected) == repr(in_pieces(layout, stream, range(len(stream))))


@FORMS
@given(stream=st.binary(max_size=3000))
@settings(max_examples=30)
def test_random_bytes_neither_break_nor_grow_the_decoder(layout: Any, stream: bytes) -> None:
    """What is kept stays below one line, or one frame and a piece of noise."""
    decoder = decoder_for(layout)
    for event in decoder.receive(stream):
        assert isinstance(event, (GoodFrame, BadFrame, PartialFrame))
    kept = decoder._splitter._tail if isinstance(decoder, LineDecoder) else decoder._buffer
    assert len(kept) <= 4097


@pytest.mark.parametrize("name", ["csv", "key-value with check", "binary"])
@given(data=st.data())
@settings(max_examples=150)
def test_no_value_comes_from_a_frame_with_a_flipped_bit(name: str, data: st.DataObject) -> None:
    """Every one of these checks finds every single flipped bit of what it covers."""
    layout = ALL_FORMS[name]
    frame = bytearray(encoder_for(layout).encode([3.3, 3.2, 3.1], 7))
    bit = data.draw(st.integers(0, 8 * len(frame) - 1))
    frame[bit // 8] ^= 1 << bit % 8
    values = [f.values for f in good(whole(layout, bytes(frame)))]
    # A flipped bit may fall into the line end or into the case of a hex digit.
    assert values in ([], [pytest.approx((3.3, 3.2, 3.1))])


@FORMS
def test_columns_are_those_of_the_layout(layout: Any) -> None:
    """And every good frame has a value for each."""
    decoder = decoder_for(layout, starts_mid_stream=False)
    frame = encoder_for(layout).encode([3.3, 3.2, 3.1], 7)
    frames = good(decoder.receive(frame * 2))
    assert {3} == {len(f.values) for f in frames} | {len(decoder.columns)}


def test_the_first_line_is_partial_and_no_fault() -> None:
    """It was cut by the opening of the port, even when it looks whole."""
    layout = csv(start="", check="none")
    events = decoder_for(layout).receive(b"3,2,3\n17,1,2,3\n")
    assert [PartialFrame, GoodFrame] == [type(event) for event in events]


def test_a_line_end_first_leaves_nothing_partial() -> None:
    """The port was opened between two lines."""
    assert 1 == len(decoder_for(csv(start="", check="none")).receive(b"\r\n17,1,2,3\n"))


def test_blank_lines_and_padding_are_nothing() -> None:
    """Zeros as some boards send while they boot."""
    assert [] == whole(csv(), b"\r\n  \r\n\0\0\n")


def test_a_frame_behind_a_broken_one_in_the_same_line_is_saved() -> None:
    """A lost line end glues two frames."""
    frame = encoder_for(csv()).encode([3.3, 3.2, 3.1], 7)
    events = whole(csv(), frame[:12] + frame)
    assert [BadFrame, GoodFrame] == [type(event) for event in events]
    broken = events[0]
    assert isinstance(broken, BadFrame)
    assert frame[:12] == broken.raw
    assert broken.detail.endswith("the next frame began in the same line")


def test_zeros_before_a_start_are_no_fault() -> None:
    """A level converter that wakes up makes them."""
    frame = encoder_for(csv()).encode([3.3, 3.2, 3.1], 7)
    assert [GoodFrame] == [type(event) for event in whole(csv(), b"\0\0" + frame)]


def test_garbage_before_a_start_is_reported_beside_the_frame() -> None:
    """Nothing is passed over in silence."""
    frame = encoder_for(csv()).encode([3.3, 3.2, 3.1], 7)
    events = whole(csv(), b"\xfe\xff" + frame)
    assert [BadReason.NOISE] == reasons(events)
    assert 1 == len(good(events))


def test_a_start_inside_a_good_line_does_no_harm() -> None:
    """The line is tried as a whole first."""
    layout = key_value(start="c", separator=";")
    assert 1 == len(good(whole(layout, b"cseq=1;c1=1;c2=2;c3=3\n")))
