"""Values to frames, and back."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from protocol_layouts import ALL_FORMS, binary, csv, good, json_lines, key_value, whole
from pydantic import TypeAdapter

from harness.descriptions.board import FrameField, FrameLayout
from harness.errors import MisuseError
from harness.protocols.frame_columns import FLAGS
from harness.protocols.frame_encoder import encoder_for

BOARDS = sorted((Path(__file__).parents[2] / "fixtures" / "boards").glob("*.toml"))

# Half a step of the scale, and half of the last decimal of a text with scale 1.
TOLERANCE_VOLTS = 0.5e-3 + 1e-9
VOLTS = st.floats(min_value=0.0, max_value=65.5)


@pytest.mark.parametrize("layout", ALL_FORMS.values(), ids=list(ALL_FORMS))
@given(values=st.tuples(VOLTS, VOLTS, VOLTS), sequence=st.integers(0, 65535))
@settings(max_examples=60)
def test_decoding_gives_back_what_was_encoded(
    layout: Any, values: tuple[float, ...], sequence: int
) -> None:
    """Within half a step of the layout's scale."""
    data = encoder_for(layout).encode(values, sequence)
    (frame, *_) = good(whole(layout, data * 2))
    assert values == pytest.approx(frame.values, rel=0, abs=TOLERANCE_VOLTS)
    assert sequence == frame.sequence


RICH_FIELDS: dict[str, dict[str, Any]] = {
    "stack_voltage": {"scale": 0.01, "type": "u16be", "key": "stack"},
    "temperature": {
        "channels": (1, 2),
        "scale": 0.1,
        "offset": -40.0,
        "type": "i16le",
        "key": "t{channel}",
        "invalid": (9999.0,),
    },
    "thermistor_open": {"channels": (1, 2), "bit": 1, "type": "u8", "key": "open"},
    "thermistor_short": {"channels": (1, 2), "type": "u8", "key": "s{channel}"},
    "uptime": {"scale": 0.001, "type": "u32le", "key": "up"},
    "ignored": {"type": "u16le", "key": "spare"},
}
RICH = [FrameField(quantity=name, **made) for name, made in RICH_FIELDS.items()]  # type: ignore[arg-type]


@pytest.mark.parametrize("make", [csv, key_value, json_lines, binary])
@given(
    stack=st.floats(0, 60),
    celsius=st.floats(-40, 150) | st.just(math.nan),
    flags=st.lists(st.booleans(), min_size=4, max_size=4),
    uptime=st.floats(0, 1e6),
)
@settings(max_examples=50)
def test_flags_offsets_markers_and_uptime_come_back(
    make: Any, stack: float, celsius: float, flags: list[bool], uptime: float
) -> None:
    """In every form."""
    layout = make(*RICH)
    values = [stack, celsius, 20.0, *map(float, flags)]
    (frame,) = good(whole(layout, encoder_for(layout).encode(values, 0, uptime)))
    assert stack == pytest.approx(frame.values[0], abs=0.005001)
    assert celsius == pytest.approx(frame.values[1], abs=0.05001, nan_ok=True)
    assert list(map(float, flags)) == list(frame.values[3:])
    assert uptime == pytest.approx(frame.uptime_seconds, abs=0.000501)


def test_frames_look_as_declared() -> None:
    """One sample of each form, byte for byte."""
    volts = [3.3, 3.301, 3.302]
    assert b">17,3300,3301,3302*4B8A\r\n" == encoder_for(csv()).encode(volts, 17)
    assert b"seq=17;c1=3.3;c2=3.301;c3=3.302\r\n" == encoder_for(key_value()).encode(volts, 17)
    assert b'{"seq":17,"bank":{"cells":[3.3,3.301,3.302]}}\n' == encoder_for(json_lines()).encode(
        volts, 17
    )
    assert "a55a1100e40ce50ce60c" == encoder_for(binary()).encode(volts, 17).hex()[:20]


def test_shared_flag_keys_are_joined() -> None:
    """Bits of both fields in one number, in both forms that have keys."""
    fields = (
        FrameField(quantity="thermistor_open", key="flags", channels=(1, 2), bit=0),
        FrameField(quantity="thermistor_short", key="flags", channels=(1, 2), bit=2),
    )
    assert b"flags=9\r\n" == encoder_for(key_value(*fields)).encode([1, 0, 0, 1])
    assert b'{"flags":9}\n' == encoder_for(json_lines(*fields)).encode([1, 0, 0, 1])


def test_binary_values_saturate_and_counters_wrap() -> None:
    """As firmware does."""
    layout = binary(
        FrameField(quantity="sequence", type="u8"),
        FrameField(quantity="cell_voltage", channels=(1, 2), type="i8", scale=0.1),
    )
    (frame,) = good(whole(layout, encoder_for(layout).encode([99.0, -99.0], 257)))
    assert (1, (12.7, -12.8)) == (frame.sequence, pytest.approx(frame.values))


def test_json_says_null_for_no_value() -> None:
    """Where no marker is declared."""
    assert b"[3.3,null,3.1]" in encoder_for(json_lines()).encode([3.3, math.nan, 3.1])


@pytest.mark.parametrize(
    ("layout", "values", "message"),
    [
        (csv(), [1.0], "frame values: expected 3 values, got 1"),
        (csv(), [1.0, math.inf, 1.0], "cell_voltage 2: expected a finite number, got inf"),
        (
            key_value(),
            [1.0, math.nan, 1.0],
            'cell_voltage 2 at key "c2": expected a number, the layout has no mark for none',
        ),
    ],
)
def test_what_cannot_be_sent_is_refused(layout: Any, values: list[float], message: str) -> None:
    """The simulator's mistake, not a frame."""
    with pytest.raises(MisuseError) as caught:
        encoder_for(layout).encode(values)
    assert message == str(caught.value)


@pytest.mark.parametrize("path", BOARDS, ids=lambda path: path.stem)
def test_every_board_of_the_fixtures_can_be_sent_and_read(path: Path) -> None:
    """Whatever its layout; 33.0 is a whole step of each of their scales."""
    layout = TypeAdapter(FrameLayout).validate_python(tomllib.loads(path.read_text())["frame"])
    encoder = encoder_for(layout)
    values = [1.0 if quantity in FLAGS else 33.0 for quantity, _ in encoder.columns]
    (frame,) = good(whole(layout, encoder.encode(values, 17)))
    assert values == pytest.approx(frame.values)
    assert 17 == frame.sequence
