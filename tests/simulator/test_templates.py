"""Command templates of instrument models as the simulated instrument understands them."""

from __future__ import annotations

from collections.abc import Mapping

import pytest

from harness.errors import DescriptionError
from harness.protocols.scpi_device import ScpiDevice
from harness.simulator.templates import CommandTable


def asked(template: str, *messages: str) -> tuple[list[dict[str, str]], str]:
    """The holes that the messages filled, and the oldest error."""
    seen: list[dict[str, str]] = []

    def note(holes: Mapping[str, str]) -> None:
        seen.append(dict(holes))

    table = CommandTable()
    table.add(template, note)
    device = ScpiDevice("a,b,c,d", table.commands())
    for message in messages:
        list(device.execute(message))
    return seen, device.status.errors.pop()


@pytest.mark.parametrize(
    ("template", "message", "holes"),
    [
        ("VOLT {volts}", "VOLT 3.3", {"volts": "3.3"}),
        ("VOLT {volts},(@{channel})", "VOLT 3.3, (@2)", {"volts": "3.3", "channel": "2"}),
        ("SOUR{channel}:VOLT {volts}", "SOUR3:VOLT 3.3", {"volts": "3.3", "channel": "3"}),
        ("SOURCE2:VOLTAGE {volts}", "sour2:volt 1", {"volts": "1"}),
        ("ROUT:CLOS (@{channels})", "ROUT:CLOS (@101,103:105)", {"channels": "101,103:105"}),
        ("OUTP ON", "OUTPut:STATe 1", {}),
        ("APPL CH{channel},{volts}", "APPL CH1, 5", {"channel": "1", "volts": "5"}),
    ],
)
def test_holes_are_filled(template: str, message: str, holes: dict[str, str]) -> None:
    """Each hole gets what stands in its place."""
    assert ([holes], '0,"No error"') == asked(template, message)


@pytest.mark.parametrize(
    ("template", "message", "error"),
    [
        ("OUTP ON", "OUTP OFF", -224),
        ("SOURCE2:VOLTAGE {volts}", "SOUR1:VOLT 1", -224),
        ("VOLT {volts}", "VOLT", -109),
        ("VOLT {volts}", "CURR 1", -113),
    ],
)
def test_other_commands_are_errors(template: str, message: str, error: int) -> None:
    """What no template has leaves a standard error and does nothing."""
    seen, said = asked(template, message)
    assert ([], error) == (seen, int(said.split(",")[0]))


def test_two_templates_share_a_header() -> None:
    """OUTP ON and OUTP OFF are told apart by their parameter."""
    done: list[str] = []
    table = CommandTable()
    table.add("OUTP ON", lambda holes: done.append("on"))
    table.add("OUTP OFF", lambda holes: done.append("off"))
    device = ScpiDevice("a,b,c,d", table.commands())
    list(device.execute("OUTP OFF;OUTP ON;OUTP 0"))
    assert ["off", "on", "off"] == done


def test_no_template_no_command() -> None:
    """An empty template means that the instrument has none."""
    table = CommandTable()
    table.add("", lambda holes: None)
    assert table.commands() == []


def test_a_header_that_is_no_scpi_is_refused() -> None:
    """The twin says which template it cannot play."""
    with pytest.raises(DescriptionError, match=r'command template "!FREQ \{volts\}"'):
        CommandTable().add("!FREQ {volts}", lambda holes: None)
