"""Header notation: forms, optional nodes, suffixes."""

from __future__ import annotations

import pytest

from harness.errors import MisuseError
from harness.protocols.scpi_headers import HeaderPattern

VOLTAGE = "[SOURce:]VOLTage[:LEVel][:IMMediate][:AMPLitude]"


@pytest.mark.parametrize(
    "header",
    [
        ":VOLT",
        ":VOLTAGE",
        ":SOUR:VOLT",
        ":SOURCE:VOLT:LEV:IMM:AMPL",
        ":VOLT:AMPLITUDE",
        ":SOUR:VOLTAGE:IMM",
    ],
)
def test_forms_and_optional_nodes_match(header: str) -> None:
    """Short and long forms mix freely."""
    assert () == HeaderPattern(VOLTAGE).match(header)


@pytest.mark.parametrize(
    "header",
    [":VOLTA", ":VOL", ":LEV", ":SOUR", ":VOLT:PROT", ":VOLT:AMPL:LEV", "VOLT", ":VOLT1", ""],
)
def test_other_headers_do_not_match(header: str) -> None:
    """Only the exact short and long forms, in their order."""
    assert HeaderPattern(VOLTAGE).match(header) is None


def test_the_colon_may_stand_outside_the_bracket() -> None:
    """Both ways of writing it are in use."""
    assert () == HeaderPattern("[SOURce]:VOLTage").match(":VOLT")


@pytest.mark.parametrize(
    ("header", "suffixes"), [(":OUTP", (1,)), (":OUTP2:STAT", (2,)), (":OUTPUT12", (12,))]
)
def test_a_suffix_is_one_unless_written(header: str, suffixes: tuple[int, ...]) -> None:
    """SCPI-1999 vol. 1, 6.2.5: the default suffix is 1."""
    assert suffixes == HeaderPattern("OUTPut#[:STATe]").match(header)


def test_a_word_in_capitals_has_one_form() -> None:
    """A user's template may know no other."""
    pattern = HeaderPattern("OUTPUT")
    assert () == pattern.match(":OUTPUT")
    assert pattern.match(":OUTP") is None


def test_common_commands_match_as_they_are() -> None:
    """With their asterisk, which is no operator here."""
    assert () == HeaderPattern("*IDN?").match("*IDN")
    assert HeaderPattern("*IDN?").is_query


@pytest.mark.parametrize("notation", ["VOLtage", "VOLT[:", "VOLT age", "VOLT:", ":1", "VOLT::LEV"])
def test_bad_notation_is_our_own_mistake(notation: str) -> None:
    """Found when the table is built, not when the command comes."""
    with pytest.raises(MisuseError, match="command header"):
        HeaderPattern(notation)
