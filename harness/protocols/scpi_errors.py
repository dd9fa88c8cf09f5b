"""SCPI's error numbers, their texts and event bits, and the queue that an instrument keeps."""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from enum import IntFlag

# SCPI-1999 vol. 2, 21.8: standard numbers and texts.
ERROR_TEXTS: Mapping[int, str] = {
    0: "No error",
    -100: "Command error",
    -101: "Invalid character",
    -102: "Syntax error",
    -103: "Invalid separator",
    -104: "Data type error",
    -108: "Parameter not allowed",
    -109: "Missing parameter",
    -110: "Command header error",
    -111: "Header separator error",
    -112: "Program mnemonic too long",
    -113: "Undefined header",
    -114: "Header suffix out of range",
    -120: "Numeric data error",
    -121: "Invalid character in number",
    -123: "Exponent too large",
    -124: "Too many digits",
    -128: "Numeric data not allowed",
    -130: "Suffix error",
    -131: "Invalid suffix",
    -134: "Suffix too long",
    -138: "Suffix not allowed",
    -140: "Character data error",
    -141: "Invalid character data",
    -150: "String data error",
    -151: "Invalid string data",
    -158: "String data not allowed",
    -168: "Block data not allowed",
    -170: "Expression error",
    -200: "Execution error",
    -220: "Parameter error",
    -221: "Settings conflict",
    -222: "Data out of range",
    -224: "Illegal parameter value",
    -300: "Device-specific error",
    -310: "System error",
    -350: "Queue overflow",
    -363: "Input buffer overrun",
    -400: "Query error",
    -410: "Query INTERRUPTED",
    -420: "Query UNTERMINATED",
    -430: "Query DEADLOCKED",
    -440: "Query UNTERMINATED after indefinite response",
}
QUEUE_OVERFLOW = -350

# SCPI-1999 vol. 2, 21.8: description and device-dependent part together.
LONGEST_TEXT = 255

# SCPI-1999 asks for at least two entries; instruments commonly keep about twenty.
QUEUE_LENGTH = 20


class EventBits(IntFlag):
    """The standard event status register (IEEE 488.2-1992, 11.5.1)."""

    OPERATION_COMPLETE = 1
    REQUEST_CONTROL = 2
    QUERY_ERROR = 4
    DEVICE_ERROR = 8
    EXECUTION_ERROR = 16
    COMMAND_ERROR = 32
    USER_REQUEST = 64
    POWER_ON = 128


# By hundreds: -1xx, -2xx, -3xx, -4xx (SCPI-1999 vol. 2, 21.8).
_BITS_BY_CLASS = {
    1: EventBits.COMMAND_ERROR,
    2: EventBits.EXECUTION_ERROR,
    3: EventBits.DEVICE_ERROR,
    4: EventBits.QUERY_ERROR,
}


def event_bit(number: int) -> EventBits:
    """The event status bit that an error sets; positive numbers are device errors."""
    if number == 0:
        return EventBits(0)
    return _BITS_BY_CLASS.get(-number // 100, EventBits.DEVICE_ERROR)


class ScpiFault(Exception):  # noqa: N818 - the standard's word is error, which is the queue's
    """Raised by the handling of one command; becomes an entry of the error queue.

    number : a standard number or a positive device-dependent one.
    information : device-dependent part of the text, behind the semicolon.
    """

    def __init__(self, number: int, information: str = "") -> None:
        super().__init__(error_reply(number, information))
        self.number = number
        self.information = information


def error_reply(number: int, information: str = "") -> str:
    """An entry as SYST:ERR? answers it: number, comma, quoted text.

    Examples
    --------
    >>> error_reply(-113, "FOO:BAR?")
    '-113,"Undefined header;FOO:BAR?"'
    """
    text = ERROR_TEXTS.get(number, "Device-dependent error")
    if information:
        text = f"{text};{information}"
    return f'{number},"{text[:LONGEST_TEXT].replace(chr(34), chr(34) * 2)}"'


class ErrorQueue:
    """First in, first out; when full, the last entry becomes "Queue overflow".

    SCPI-1999 vol. 2, 21.8.1.
    """

    def __init__(self, length: int = QUEUE_LENGTH) -> None:
        self._length = length
        self._entries: deque[tuple[int, str]] = deque()

    def __len__(self) -> int:
        return len(self._entries)

    def push(self, number: int, information: str = "") -> int:
        """Add an entry; returns the number entered, -350 when the queue was full."""
        if len(self._entries) < self._length:
            self._entries.append((number, information))
            return number
        self._entries[-1] = (QUEUE_OVERFLOW, "")
        return QUEUE_OVERFLOW

    def pop(self) -> str:
        """The oldest entry as SYST:ERR? answers it; `0,"No error"` when there is none."""
        return error_reply(*self._entries.popleft()) if self._entries else error_reply(0)

    def clear(self) -> None:
        """Forget all entries."""
        self._entries.clear()
