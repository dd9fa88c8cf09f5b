"""Mandatory common commands and status registers.

Source: IEEE Std 488.2-1992, 10, 11.2, 11.5; SCPI-1999 vol. 1, 4.1.1. Confidence: partly from
memory.
"""

from __future__ import annotations

import pytest

from harness.protocols.scpi_device import ScpiDevice
from harness.protocols.scpi_errors import EventBits
from harness.protocols.scpi_reply import parse_identity
from harness.protocols.scpi_status import StatusBits

MANDATORY = [
    "*CLS",
    "*ESE 0",
    "*ESE?",
    "*ESR?",
    "*IDN?",
    "*OPC",
    "*OPC?",
    "*RST",
    "*SRE 0",
    "*SRE?",
    "*STB?",
    "*TST?",
    "*WAI",
]


@pytest.fixture
def device() -> ScpiDevice:
    """An instrument without commands of its own."""
    return ScpiDevice("Invented,Instrument,0,0", [])


def answer(device: ScpiDevice, message: str) -> str | None:
    """The reply to a message that needs no waiting."""
    with pytest.raises(StopIteration) as ended:
        next(device.execute(message))
    value: str | None = ended.value.value
    return value


@pytest.mark.parametrize("message", MANDATORY)
def test_each_mandatory_command_is_there(device: ScpiDevice, message: str) -> None:
    """It sets no error, and answers exactly when it is a query."""
    reply = answer(device, message)
    assert message.endswith("?") is (reply is not None)
    assert '0,"No error"' == answer(device, "SYST:ERR?")


def test_event_status_bits() -> None:
    """IEEE 488.2-1992, 11.5.1."""
    assert [1, 2, 4, 8, 16, 32, 64, 128] == [
        EventBits.OPERATION_COMPLETE,
        EventBits.REQUEST_CONTROL,
        EventBits.QUERY_ERROR,
        EventBits.DEVICE_ERROR,
        EventBits.EXECUTION_ERROR,
        EventBits.COMMAND_ERROR,
        EventBits.USER_REQUEST,
        EventBits.POWER_ON,
    ]


def test_status_byte_bits() -> None:
    """IEEE 488.2-1992, 11.2, and the three that SCPI adds."""
    assert [4, 8, 16, 32, 64, 128] == [
        StatusBits.ERROR_QUEUE,
        StatusBits.QUESTIONABLE,
        StatusBits.MESSAGE_AVAILABLE,
        StatusBits.EVENT_SUMMARY,
        StatusBits.MASTER_SUMMARY,
        StatusBits.OPERATION,
    ]


def test_an_identity_has_four_fields_with_0_for_unknown(device: ScpiDevice) -> None:
    """Maker, model, serial number, firmware level."""
    assert ("Invented", "Instrument", "0", "0") == parse_identity(answer(device, "*IDN?") or "")


def test_completion_is_answered_with_1(device: ScpiDevice) -> None:
    """IEEE 488.2-1992, 10.19."""
    assert "1" == answer(device, "*OPC?")


def test_power_on_then_an_unknown_command_is_160_and_reading_clears(device: ScpiDevice) -> None:
    """128 + 32."""
    answer(device, "FOO")
    assert ["160", "0"] == [answer(device, "*ESR?"), answer(device, "*ESR?")]


def test_an_unknown_command_with_operation_complete_is_33(device: ScpiDevice) -> None:
    """32 + 1."""
    answer(device, "*CLS;*OPC;FOO")
    assert "33" == answer(device, "*ESR?")
