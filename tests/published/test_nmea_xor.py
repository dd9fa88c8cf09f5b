"""The checksum of NMEA 0183 sentences: exclusive or of the characters between $ and *.

Source: NMEA 0183 example sentences. Confidence: partly from memory. Tolerance 0.
"""

from __future__ import annotations

import pytest

from harness.descriptions.board import FrameField, TextFrame
from harness.protocols.checks import xor8
from harness.protocols.frame_decoder import decoder_for
from harness.protocols.frame_events import BadFrame, BadReason, GoodFrame

POSITION = "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,"
MINIMUM = "$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W"


@pytest.mark.parametrize(("sentence", "expected"), [(POSITION, "47"), (MINIMUM, "6A")])
def test_the_checksum_of_an_example_sentence(sentence: str, expected: str) -> None:
    """Two upper-case hex digits."""
    assert expected == f"{xor8(sentence[1:].encode()):02X}"


def layout_of(sentence: str) -> TextFrame:
    """A layout that reads such a sentence and takes nothing out of it."""
    count = sentence.count(",") + 1
    return TextFrame(
        form="csv",
        start="$",
        check="xor8",
        fields=(FrameField(quantity="ignored", channels=(1, count)),),
    )


@pytest.mark.parametrize(("sentence", "check"), [(POSITION, "47"), (MINIMUM, "6A")])
def test_the_decoder_takes_an_example_sentence(sentence: str, check: str) -> None:
    """With CR LF behind the checksum."""
    decoder = decoder_for(layout_of(sentence), starts_mid_stream=False)
    (event,) = decoder.receive(f"{sentence}*{check}\r\n".encode())
    assert isinstance(event, GoodFrame)


def test_a_copy_with_another_date_and_the_old_checksum_is_bad() -> None:
    """A wrong example in circulation: the date changed to 230826, *6A kept; it should be *68."""
    wrong = MINIMUM.replace("230394", "230826")
    decoder = decoder_for(layout_of(wrong), starts_mid_stream=False)
    (event,) = decoder.receive(f"{wrong}*6A\r\n".encode())
    assert isinstance(event, BadFrame)
    assert (BadReason.BAD_CHECK, "expected the check 68, got 6A") == (event.reason, event.detail)
