"""Commands that the controller sends."""

from __future__ import annotations

import math

import pytest

from harness.errors import DescriptionError, MisuseError
from harness.protocols.scpi_command import fill, holes, join_commands


def test_numbers_are_filled_in_without_losing_digits() -> None:
    """Fixed-point formats would send 0.000000."""
    assert "VOLT 1.234567890123E-07" == fill("VOLT {volts}", volts=1.234567890123e-7)


def test_channels_are_joined_with_commas() -> None:
    """As a channel list wants them."""
    assert "ROUT:CLOS (@101,102)" == fill("ROUT:CLOS (@{channels})", channels=["101", "102"])


def test_an_offered_value_may_stay_unused() -> None:
    """The channel may be selected by another command."""
    assert "VOLT 3" == fill("VOLT {volts}", {"channel": 2}, volts=3)


def test_a_needed_value_without_a_hole_is_an_error() -> None:
    """The set-point would not be sent."""
    with pytest.raises(DescriptionError) as caught:
        fill("VOLT", volts=3.3)
    assert (
        'command template "VOLT": expected the hole {volts}, '
        "without it the value would not be sent" == str(caught.value)
    )


def test_an_unknown_hole_is_an_error_that_lists_the_known_ones() -> None:
    """A misspelt hole is found before anything is sent."""
    with pytest.raises(DescriptionError) as caught:
        fill("VOLT {volts},{chanel}", {"channel": 1}, volts=3.3)
    assert (
        'command template "VOLT {volts},{chanel}": unknown hole {chanel}, '
        "expected one of: {channel}, {volts}" == str(caught.value)
    )


@pytest.mark.parametrize("template", ["VOLT {volts", "VOLT {}", "VOLT {0}", "VOLT {volts:.2f}"])
def test_a_hole_is_a_plain_name(template: str) -> None:
    """No formats, which would truncate; no unbalanced braces."""
    with pytest.raises(DescriptionError, match="command template"):
        holes(template)


@pytest.mark.parametrize("text", ["1;*RST", "1\nOUTP ON", "1\r"])
def test_a_text_cannot_begin_another_command(text: str) -> None:
    """A relay name from a file is not trusted."""
    with pytest.raises(MisuseError, match="stays in one command"):
        fill("ROUT:CLOS (@{channels})", channels=[text])


def test_a_number_must_be_finite() -> None:
    """NaN is never programmed."""
    with pytest.raises(MisuseError, match="volts: expected a finite number"):
        fill("VOLT {volts}", volts=math.nan)


@pytest.mark.parametrize(
    ("commands", "expected"),
    [
        (["VOLT 3.3", "CURR 0.1", "*OPC?"], "VOLT 3.3;:CURR 0.1;*OPC?"),
        (["*CLS", "VOLT 3"], "*CLS;:VOLT 3"),
        ([":VOLT 3", ":CURR 1"], ":VOLT 3;:CURR 1"),
        (["", "VOLT 3", "  "], "VOLT 3"),
        ([], ""),
    ],
)
def test_commands_are_joined_from_the_root(commands: list[str], expected: str) -> None:
    """Each starts at the root of the tree; common commands get no colon."""
    assert expected == join_commands(commands)
