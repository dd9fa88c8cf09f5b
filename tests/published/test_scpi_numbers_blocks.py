"""Number formats, special values, blocks and short forms.

Source: IEEE 488.2-1992, 8.7; SCPI-1999 vol. 1, 6.2.1 and 7.2.1. Confidence: partly from
memory. Tolerance 0 but for 0.273, which binary floats hold to one part in 2^53.
"""

from __future__ import annotations

import pytest

from harness.protocols.scpi_headers import HeaderPattern, short_form
from harness.protocols.scpi_lexer import block_length
from harness.protocols.scpi_numbers import INFINITY, NOT_A_NUMBER
from harness.protocols.scpi_reply import ReadingState, parse_reading


@pytest.mark.parametrize(
    ("text", "expected"), [("273", 273.0), ("0.273", 0.273), ("2.73E+2", 273.0)]
)
def test_the_three_numeric_forms(text: str, expected: float) -> None:
    """NR1, NR2, NR3."""
    assert expected == parse_reading(text).value


@pytest.mark.parametrize(
    ("text", "state"),
    [
        ("9.9E37", ReadingState.OVERLOAD),
        ("-9.9E37", ReadingState.OVERLOAD),
        ("+9.90000000E+37", ReadingState.OVERLOAD),
        ("9.91E37", ReadingState.NOT_A_NUMBER),
    ],
)
def test_special_values_are_states(text: str, state: ReadingState) -> None:
    """Infinity, negative infinity, infinity as usually printed, not a number."""
    assert state is parse_reading(text).state


def test_special_values() -> None:
    """SCPI-1999 vol. 1, 7.2.1."""
    assert (9.9e37, 9.91e37) == (INFINITY, NOT_A_NUMBER)


@pytest.mark.parametrize(
    ("head", "count"), [("#208", 8), ("#3512", 512), ("#501024", 1024), ("#213", 13)]
)
def test_a_definite_block_tells_its_length(head: str, count: int) -> None:
    """Whatever it holds, and whatever follows."""
    assert len(head) + count == block_length(head + ";" * count + ";*CLS", 0)


def test_an_indefinite_block_reaches_to_the_end() -> None:
    """#0, bytes, terminator."""
    assert 7 == block_length("#0a;b;c", 0)


SHORT_FORMS = {
    "FORMat": "FORM",
    "IMMediate": "IMM",
    "DELay": "DEL",
    "AUTO": "AUTO",
    "MEASure": "MEAS",
    "VOLTage": "VOLT",
    "CURRent": "CURR",
    "SYSTem": "SYST",
    "ERRor": "ERR",
    "RESistance": "RES",
}


@pytest.mark.parametrize(("word", "expected"), SHORT_FORMS.items())
def test_the_short_form_rule(word: str, expected: str) -> None:
    """Four letters, or three when the fourth is a vowel; short words stay."""
    assert expected == short_form(word)


@pytest.mark.parametrize("word", [word for word in SHORT_FORMS if word != "AUTO"])
def test_only_the_exact_forms_are_valid(word: str) -> None:
    """Nothing between the short form and the long one."""
    pattern = HeaderPattern(word)
    valid = [
        length
        for length in range(1, len(word) + 1)
        if pattern.match(f":{word.upper()[:length]}") is not None
    ]
    assert [len(SHORT_FORMS[word]), len(word)] == valid
