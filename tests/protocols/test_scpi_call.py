"""Typed parameters of a received command."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.protocols.scpi_call import LONGEST_CHANNEL_RANGE, Call
from harness.protocols.scpi_errors import ScpiFault


def call(*parameters: str) -> Call:
    """A call of some command with these parameters."""
    return Call("ANY", (), parameters)


@pytest.mark.parametrize(
    ("written", "expected"),
    [
        ("3.3", 3.3),
        ("3300mV", 3.3),
        ("3.3 V", 3.3),
        ("MIN", 0.0),
        ("MAXimum", 6.0),
        ("def", 1.0),
        ("6", 6.0),
    ],
)
def test_a_number_is_read(written: str, expected: float) -> None:
    """With suffix, and by name."""
    got = call(written).number(0, 0.0, 6.0, unit="V", default=1.0)
    assert expected == pytest.approx(got)


@pytest.mark.parametrize(
    ("ask", "number"),
    [
        (lambda: call("6.1").number(0, 0, 6), -222),
        (lambda: call("1e400").number(0, 0, 1e300), -222),
        (lambda: call("9.9E37").number(0, 0, 1e38), -222),
        (lambda: call("ABC").number(0, 0, 6), -104),
        (lambda: call('"3"').number(0, 0, 6), -104),
        (lambda: call("3V").number(0, 0, 6), -138),
        (lambda: call("3A").number(0, 0, 6, unit="V"), -131),
        (lambda: call("DEF").number(0, 0, 6), -224),
        (lambda: call().number(0, 0, 6), -109),
        (lambda: call("256").whole(0, 0, 255), -222),
        (lambda: call("MAYBE").boolean(0), -224),
        (lambda: call("(@1)").boolean(0), -104),
        (lambda: call("RES").choice(0, ["VOLTage", "CURRent"]), -224),
        (lambda: call("VOLTA").choice(0, ["VOLTage"]), -224),
        (lambda: call("1").choice(0, ["VOLTage"]), -104),
        (lambda: call("VOLT").string(0), -104),
        (lambda: call('"open').string(0), -151),
        (lambda: call('"').string(0), -151),
        (lambda: call("1").channels(0), -104),
        (lambda: call("(1)").channels(0), -170),
        (lambda: call("(@)").channels(0), -170),
        (lambda: call("(@1,)").channels(0), -170),
        (lambda: call("(@1!1:2!2)").channels(0), -170),
        (lambda: call(f"(@1:{LONGEST_CHANNEL_RANGE + 2})").channels(0), -222),
        (lambda: call("(@199)").channels(0, {"101"}), -222),
        (lambda: call("(@101:199)").channels(0, {"101"}), -222),
    ],
)
def test_a_wrong_parameter_faults_by_the_standard_number(
    ask: Callable[[], Any], number: int
) -> None:
    """What a controller finds in the error queue."""
    with pytest.raises(ScpiFault) as caught:
        ask()
    assert number == caught.value.number


@pytest.mark.parametrize(("written", "expected"), [("1.4", 1), ("1.5", 2), ("-0.4", 0)])
def test_whole_numbers_are_rounded(written: str, expected: int) -> None:
    """IEEE 488.2 rounds rather than refuses."""
    assert expected == call(written).whole(0, 0, 255)


@pytest.mark.parametrize(
    ("written", "expected"),
    [("ON", True), ("off", False), ("0", False), ("1", True), ("0.4", False)],
)
def test_booleans_are_words_or_numbers(written: str, expected: bool) -> None:
    """A number is true unless it rounds to zero."""
    assert expected is call(written).boolean(0)


def test_a_choice_is_known_by_both_forms() -> None:
    """And comes back in the notation of the table."""
    assert ["VOLTage"] * 2 == [call(w).choice(0, ["VOLTage"]) for w in ("volt", "VOLTAGE")]


def test_a_string_loses_its_quotes() -> None:
    """Doubled ones inside stand for one."""
    assert 'say "no"' == call('"say ""no"""').string(0)


@pytest.mark.parametrize(
    ("written", "known", "expected"),
    [
        ("(@101)", None, ("101",)),
        ("(@101,103:105)", None, ("101", "103", "104", "105")),
        ("(@3:1)", None, ("3", "2", "1")),
        ("(@ 1 , 2 )", None, ("1", "2")),
        ("(@1!2)", None, ("1!2",)),
        ("(@101:105)", ("101", "103", "105"), ("101", "103", "105")),
    ],
)
def test_channel_lists_are_written_out(
    written: str, known: tuple[str, ...] | None, expected: tuple[str, ...]
) -> None:
    """In the order given; unknown channels inside a range are passed over."""
    assert expected == call(written).channels(0, known)


@given(st.text(min_size=1))
def test_no_parameter_breaks_the_getters(written: str) -> None:
    """Any text is either read or faulted."""
    parameter = call(written)
    for ask in (
        lambda: parameter.number(0, -1, 1, unit="V"),
        lambda: parameter.boolean(0),
        lambda: parameter.choice(0, ["VOLTage"]),
        lambda: parameter.string(0),
        lambda: parameter.channels(0),
    ):
        try:
            ask()
        except ScpiFault:
            pass
