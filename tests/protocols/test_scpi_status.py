"""Status registers."""

from __future__ import annotations

from harness.protocols.scpi_errors import EventBits
from harness.protocols.scpi_status import Status, StatusBits, StatusRegister


def test_an_instrument_begins_with_power_on() -> None:
    """Reading the event register clears it."""
    status = Status()
    assert [int(EventBits.POWER_ON), 0] == [status.read_event(), status.read_event()]


def test_a_rising_condition_is_latched() -> None:
    """The event stays when the condition goes; a standing condition is no new event."""
    register = StatusRegister()
    register.set_condition(1)
    register.set_condition(0)
    assert [1, 0] == [register.read_event(), register.read_event()]
    register.set_condition(2)
    register.read_event()
    register.set_condition(2)
    assert 0 == register.read_event()


def test_the_status_byte_sums_up() -> None:
    """Each summary bit needs its enable, the master summary its own."""
    status = Status()
    status.clear()
    status.report(-113)
    assert StatusBits.ERROR_QUEUE == status.status_byte(has_output=False)
    status.event_enable = int(EventBits.COMMAND_ERROR)
    status.service_enable = int(StatusBits.EVENT_SUMMARY)
    status.operation.enable = status.questionable.enable = 1
    status.operation.set_condition(1)
    status.questionable.set_condition(1)
    assert 255 - 3 == status.status_byte(has_output=True)


def test_clearing_leaves_the_masks() -> None:
    """*CLS empties the queue and the events, not what the user enabled."""
    status = Status()
    status.event_enable = 32
    status.report(-222)
    status.clear()
    assert (0, 0, 32) == (len(status.errors), status.read_event(), status.event_enable)


def test_an_overflowing_queue_is_a_device_error() -> None:
    """Number -350 sets the bit of its class beside that of the lost error."""
    status = Status()
    status.clear()
    for _ in range(30):
        status.report(-113)
    assert EventBits.COMMAND_ERROR | EventBits.DEVICE_ERROR == status.read_event()
