"""A serial port that is read in bulk: whatever pyserial can open, bytes as they come.

`readline()` and `read(n)` of pyserial take a system call a byte or wait for bytes that are not
due; here one wait and one read take all there is. Errors differ by platform and moment
(SerialException, OSError, termios.error, TypeError while closing); here they become
`BoardError`s, and nowhere else.
"""

from __future__ import annotations

import contextlib
import io
import os
import select
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Protocol

import serial

from harness.descriptions.board import SerialPort
from harness.link.faults import BoardMissing, BoardUnplugged

if sys.platform == "win32":
    _PORT_ERRORS: tuple[type[Exception], ...] = (OSError, TypeError, ValueError, AttributeError)
else:
    import termios

    # SerialException is an OSError; termios.error is none. TypeError and ValueError come from
    # a file descriptor that is gone.
    _PORT_ERRORS = (OSError, termios.error, TypeError, ValueError, AttributeError)

# One read takes at most this: a second of a fast USB board.
LARGEST_READ_BYTES = 65536

_PARITIES = {"none": serial.PARITY_NONE, "even": serial.PARITY_EVEN, "odd": serial.PARITY_ODD}


class BytePort(Protocol):
    """What a board link needs of a port."""

    def read(self, timeout_seconds: float) -> bytes:
        """All bytes there are, after waiting for the first; empty at the time-out or on `wake`.

        Parameters
        ----------
        timeout_seconds : operating-system seconds.

        Raises
        ------
        BoardUnplugged : the port went away.
        """
        ...

    def wake(self) -> None:
        """End a `read` that is waiting in another thread."""
        ...

    def close(self) -> None:
        """Give the port back; may be called twice."""
        ...


class OpenPort:
    """An open pyserial port: a device, a pseudo-terminal or a pyserial URL.

    Parameters
    ----------
    settings : port and line settings of the board description.

    Raises
    ------
    BoardMissing : it cannot be opened.
    """

    def __init__(self, settings: SerialPort) -> None:
        self._name = settings.port
        with _opening(settings.port):
            self._serial = _configured(settings)
            self._serial.open()
        try:
            with _opening(settings.port):
                if settings.modem_lines == "leave":
                    _keep_lines_on_close(self._serial)
                _ask_for_low_latency(self._serial)
                # Windows keeps what came before; it would pass for new.
                self._serial.reset_input_buffer()
                self._descriptor = _selectable(self._serial)
                self._wake_read, self._wake_write = os.pipe()
        except BaseException:
            self._serial.close()
            raise
        self._is_open = True

    def read(self, timeout_seconds: float) -> bytes:
        """All bytes there are; see `BytePort.read`."""
        with self._using():
            if self._descriptor is None:
                return self._read_through_pyserial(timeout_seconds)
            ready, _, _ = select.select(
                [self._descriptor, self._wake_read], [], [], timeout_seconds
            )
            if self._descriptor not in ready:
                return b""
            chunk = os.read(self._descriptor, LARGEST_READ_BYTES)
            if not chunk:
                raise OSError("ready to read but no data: unplugged, or closed at the far end")
            return chunk

    def _read_through_pyserial(self, timeout_seconds: float) -> bytes:
        self._serial.timeout = timeout_seconds
        return bytes(self._serial.read(self._serial.in_waiting or 1))

    @contextmanager
    def _using(self) -> Iterator[None]:
        try:
            yield
        except _PORT_ERRORS as error:
            raise BoardUnplugged(
                f"board ({self._name}): expected an open port, got {_told(error)}; "
                "plug the board in again and see that no other program uses the port"
            ) from error

    def wake(self) -> None:
        """End a waiting `read`."""
        if not self._is_open:
            return
        if self._descriptor is not None:
            os.write(self._wake_write, b"x")
        elif hasattr(self._serial, "cancel_read"):
            self._serial.cancel_read()

    def close(self) -> None:
        """Give the port back; a port that is gone already is no fault here."""
        if not self._is_open:
            return
        self._is_open = False
        with contextlib.suppress(*_PORT_ERRORS):
            self._serial.close()
        os.close(self._wake_read)
        os.close(self._wake_write)


@contextmanager
def _opening(name: str) -> Iterator[None]:
    try:
        yield
    except _PORT_ERRORS as error:
        raise BoardMissing(
            f"board ({name}): expected a serial port, got {_told(error)}; check that the board "
            "is plugged in, that serial.port names it, that you may use it, and that no other "
            "program has it"
        ) from error


def _told(error: Exception) -> str:
    return str(error) or type(error).__name__


def _configured(settings: SerialPort) -> serial.Serial:
    """The port, not yet open, with modem lines as the description wants them."""
    port: serial.Serial = serial.serial_for_url(
        settings.port,
        do_not_open=True,
        baudrate=settings.baud,
        parity=_PARITIES[settings.parity],
        stopbits=settings.stop_bits,
        exclusive=True,
    )
    if settings.modem_lines == "leave":
        _leave_lines(port)
    else:
        # Before opening: pyserial and pseudo-terminals both want it so.
        port.dtr = port.rts = settings.modem_lines == "on"
    return port


def _leave_lines(port: serial.Serial) -> None:
    """Keep pyserial from setting DTR and RTS at opening.

    The system itself may still raise them once; see `_keep_lines_on_close`. On Windows they
    are part of the port's settings and cannot be left alone: low is what resets no board.
    """
    if sys.platform == "win32":
        port.dtr = port.rts = False
    else:
        for setter in ("_update_dtr_state", "_update_rts_state"):
            if hasattr(port, setter):
                setattr(port, setter, lambda: None)


def _keep_lines_on_close(port: serial.Serial) -> None:
    """Clear HUPCL, so that closing does not drop DTR and the next opening does not raise it."""
    if sys.platform != "win32":
        descriptor = _selectable(port)
        if descriptor is None or not os.isatty(descriptor):
            return
        attributes = termios.tcgetattr(descriptor)
        attributes[2] &= ~termios.HUPCL
        termios.tcsetattr(descriptor, termios.TCSANOW, attributes)


def _ask_for_low_latency(port: serial.Serial) -> None:
    """Some USB adapters hold bytes back for 16 ms unless asked not to (Linux only)."""
    ask = getattr(port, "set_low_latency_mode", None)
    if ask is not None:
        with contextlib.suppress(*_PORT_ERRORS, NotImplementedError):
            ask(True)


def _selectable(port: serial.Serial) -> int | None:
    """The file descriptor to wait on, or None where there is none (Windows, some URLs)."""
    if sys.platform == "win32":
        return None
    try:
        return int(port.fileno())
    except (AttributeError, io.UnsupportedOperation):
        return None
