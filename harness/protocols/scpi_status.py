"""The status registers of IEEE 488.2 and SCPI that an instrument keeps."""

from __future__ import annotations

from enum import IntFlag

from harness.protocols.scpi_errors import ErrorQueue, EventBits, event_bit


class StatusBits(IntFlag):
    """The status byte (IEEE 488.2-1992, 11.2; bits 2, 3 and 7 by SCPI-1999 vol. 1, 5.6)."""

    ERROR_QUEUE = 4
    QUESTIONABLE = 8
    MESSAGE_AVAILABLE = 16
    EVENT_SUMMARY = 32
    MASTER_SUMMARY = 64
    OPERATION = 128


class StatusRegister:
    """One of SCPI's register sets: condition, latched events, enable mask (15 bits)."""

    def __init__(self) -> None:
        self.condition = 0
        self.event = 0
        self.enable = 0

    def set_condition(self, condition: int) -> None:
        """Take over a new condition; bits that rise are latched as events."""
        self.event |= condition & ~self.condition
        self.condition = condition

    def read_event(self) -> int:
        """The latched events; reading clears them (SCPI-1999 vol. 2, 20)."""
        event, self.event = self.event, 0
        return event

    @property
    def summary(self) -> bool:
        """Whether an enabled event is latched."""
        return bool(self.event & self.enable)


class Status:
    """All status of one instrument; switched on with the power-on event set."""

    def __init__(self) -> None:
        self.errors = ErrorQueue()
        self.event = int(EventBits.POWER_ON)
        self.event_enable = 0
        self.service_enable = 0
        self.operation = StatusRegister()
        self.questionable = StatusRegister()

    def report(self, number: int, information: str = "") -> None:
        """Enter an error and set its event bit."""
        self.event |= event_bit(number)
        self.event |= event_bit(self.errors.push(number, information))

    def read_event(self) -> int:
        """The standard event status; reading clears it (IEEE 488.2-1992, 11.5.1.2)."""
        event, self.event = self.event, 0
        return event

    def clear(self) -> None:
        """As *CLS: events and the error queue; the enable masks stay (10.3)."""
        self.errors.clear()
        self.event = self.operation.event = self.questionable.event = 0

    def status_byte(self, *, has_output: bool) -> int:
        """The status byte with the master summary, as *STB? answers it (10.36)."""
        bits = StatusBits(0)
        if len(self.errors):
            bits |= StatusBits.ERROR_QUEUE
        if self.questionable.summary:
            bits |= StatusBits.QUESTIONABLE
        if has_output:
            bits |= StatusBits.MESSAGE_AVAILABLE
        if self.event & self.event_enable:
            bits |= StatusBits.EVENT_SUMMARY
        if self.operation.summary:
            bits |= StatusBits.OPERATION
        if int(bits) & self.service_enable & ~StatusBits.MASTER_SUMMARY:
            bits |= StatusBits.MASTER_SUMMARY
        return int(bits)
