"""Wires over pyvisa: any VISA there is, by default pyvisa-py, which needs no installation.

Here, and only here, errors of VISA and of the operating system become `WireError`s: which
class a failure raises differs by VISA and by interface. Resources are never listed: that takes
a second and broadcasts on the network.

Under pyvisa-py a `::SOCKET` resource is read from its socket directly. Its own reader does not
notice that the far end closed: it spins until the time-out and then reports one, and throws
away half answers. Neither can it set TCP_NODELAY, without which two writes in a row cost 44 ms.
"""

from __future__ import annotations

import functools
import os
import re
import select
import socket
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pyvisa
from pyvisa.constants import ResourceAttribute, StatusCode
from pyvisa.resources import MessageBasedResource

from harness.descriptions.instrument import Dialogue
from harness.instruments.faults import InstrumentMissing
from harness.instruments.wire import Wire, WireClosed, WireMissing, WireTimeout

# A silent address would else hold the start up for pyvisa's 10 s.
OPEN_TIMEOUT_SECONDS = 2.0

# One read from a socket takes at most this; longer answers take several reads.
LARGEST_RECEIVE_BYTES = 65536

_CLOSED = {
    StatusCode.error_connection_lost,
    StatusCode.error_io,
    StatusCode.error_invalid_object,
    StatusCode.error_closing_failed,
}


def resource_name(text: str) -> str:
    """The VISA resource string for `text`, which may also be a plain serial port.

    "COM3" becomes "ASRL3::INSTR" and "/dev/ttyUSB0" becomes "ASRL/dev/ttyUSB0::INSTR", the
    forms that pyvisa-py accepts.
    """
    windows_port = re.fullmatch(r"(?i)COM(\d+)", text)
    if windows_port:
        return f"ASRL{windows_port[1]}::INSTR"
    return f"ASRL{text}::INSTR" if text.startswith("/") else text


@functools.cache
def _manager(library: str) -> pyvisa.ResourceManager:
    """One manager a library and process; pyvisa closes it at exit."""
    return pyvisa.ResourceManager(library)


@contextmanager
def _opening() -> Iterator[None]:
    """Whatever opening raises, it means that there is nothing to talk to.

    pyvisa-py raises a bare Exception for an unknown host or a silent address, hence the width.
    """
    try:
        yield
    except Exception as error:
        raise WireMissing(_told(error)) from error


@contextmanager
def _talking() -> Iterator[None]:
    """Errors of an open connection, by kind."""
    try:
        yield
    except pyvisa.errors.VisaIOError as error:
        if error.error_code == StatusCode.error_timeout:
            raise WireTimeout from error
        raise WireClosed(_told(error)) from error
    except pyvisa.errors.InvalidSession as error:
        raise WireClosed("the connection is closed here") from error
    except (OSError, ValueError) as error:  # ValueError: select() on a closed socket
        raise WireClosed(_told(error)) from error


def _told(error: Exception) -> str:
    """The error's own words, with the name of its class when it has few."""
    words = str(error).strip()
    return words if len(words) > 8 else f"{type(error).__name__} {words}".strip()


class VisaWire:
    """A message-based VISA resource (USBTMC, GPIB, VXI-11, HiSLIP, serial, or any socket)."""

    def __init__(self, resource: str, dialogue: Dialogue, library: str) -> None:
        self._resource_name = resource_name(resource)
        self._library = library
        self._ending = dialogue.write_termination.encode("latin-1")
        self._read_termination = dialogue.read_termination
        self._resource: MessageBasedResource | None = None
        self.reopen()

    def reopen(self) -> None:
        """Close and open anew."""
        self.close()
        with _opening():
            opened = _manager(self._library).open_resource(
                self._resource_name, open_timeout=round(OPEN_TIMEOUT_SECONDS * 1000)
            )
            if not isinstance(opened, MessageBasedResource):
                opened.close()
                raise TypeError(f"{self._resource_name} is no message-based resource")
            self._resource = opened
            opened.read_termination = self._read_termination
            self._prepare(opened)

    def _prepare(self, resource: MessageBasedResource) -> None:
        """Ask for TCP_NODELAY where VISA can set it; not every interface knows it."""
        if self._library.endswith("@py"):
            return
        try:
            resource.set_visa_attribute(ResourceAttribute.tcpip_nodelay, True)
        except (pyvisa.errors.Error, NotImplementedError, ValueError, AttributeError):
            pass

    def _open_resource(self) -> MessageBasedResource:
        if self._resource is None:
            raise WireClosed("the connection is closed here")
        return self._resource

    def send(self, message: bytes) -> None:
        """Send one message and the termination in one piece."""
        resource = self._open_resource()
        with _talking():
            resource.write_raw(message + self._ending)

    def receive(self, timeout_seconds: float) -> bytes:
        """The next whole message; VISA ends it at END or at the termination's last character."""
        resource = self._open_resource()
        with _talking():
            resource.timeout = max(1, round(timeout_seconds * 1000))
            return resource.read_raw()

    def has_input(self) -> bool:
        """Cannot be told over VISA."""
        return False

    def drain(self) -> None:
        """Device clear, where the interface has one; else drop the serial input."""
        resource = self._open_resource()
        with _talking():
            try:
                resource.clear()
            except (NotImplementedError, pyvisa.errors.VisaIOError):
                resource.flush(pyvisa.constants.BufferOperation.discard_read_buffer)

    def close(self) -> None:
        """End the connection; what fails then was closed already."""
        resource, self._resource = self._resource, None
        if resource is not None:
            try:
                resource.close()
            except (pyvisa.errors.Error, OSError):
                pass


class SocketWire(VisaWire):
    """A `::SOCKET` resource of pyvisa-py, read from its own socket."""

    _socket: socket.socket
    _buffer: bytearray

    def _prepare(self, resource: MessageBasedResource) -> None:
        self._socket = _inner_socket(resource)
        self._buffer = bytearray()
        self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
        # Opening towards a closed port succeeds; the socket knows better.
        failure = self._socket.getsockopt(socket.SOL_SOCKET, socket.SO_ERROR)
        if failure:
            self.close()
            raise OSError(failure, os.strerror(failure))

    def receive(self, timeout_seconds: float) -> bytes:
        """The next line; a half line that came before a time-out is handed over with it."""
        ending = self._read_termination.encode("latin-1")[-1:]
        deadline = time.monotonic() + timeout_seconds
        while ending not in self._buffer:
            if not self._fill(deadline - time.monotonic()):
                partial = bytes(self._buffer)
                self._buffer.clear()
                raise WireTimeout(partial)
        line, _, rest = bytes(self._buffer).partition(ending)
        self._buffer = bytearray(rest)
        return line

    def _fill(self, timeout_seconds: float) -> bool:
        """Take what comes within the time; False when nothing did."""
        self._open_resource()
        with _talking():
            ready, _, _ = select.select([self._socket], [], [], max(0.0, timeout_seconds))
            if not ready:
                return False
            chunk = self._socket.recv(LARGEST_RECEIVE_BYTES)
        if not chunk:
            raise WireClosed("closed by the instrument")
        self._buffer += chunk
        return True

    def has_input(self) -> bool:
        """Whether bytes are waiting."""
        return bool(self._buffer) or self._fill(0.0)

    def drain(self) -> None:
        """Drop what has arrived."""
        while self._fill(0.0):
            pass
        self._buffer.clear()


def _inner_socket(resource: MessageBasedResource) -> socket.socket:
    """The socket inside a pyvisa-py session.

    Raises
    ------
    TypeError : there is none.
    """
    sessions: Any = getattr(resource.visalib, "sessions", {})
    inner = getattr(sessions.get(resource.session), "interface", None)
    if not isinstance(inner, socket.socket):
        raise TypeError(f"{resource.resource_name} has no socket inside")
    return inner


def open_wire(
    resource: str, dialogue: Dialogue, library: str = "@py", name: str = "instrument"
) -> Wire:
    """The wire that fits `resource` under this VISA library.

    Parameters
    ----------
    resource : VISA resource string, "COM3" or "/dev/...".
    library : as pyvisa takes it; "@py" is pyvisa-py, a path is an installed VISA.
    name : the instrument's name in the bench file, for messages.

    Raises
    ------
    InstrumentMissing : it cannot be opened.
    """
    is_socket = library.endswith("@py") and resource.upper().endswith("::SOCKET")
    try:
        return (SocketWire if is_socket else VisaWire)(resource, dialogue, library)
    except WireMissing as error:
        raise InstrumentMissing(
            f"{name} ({resource}): opening: expected an instrument there, got {error.reason}; "
            f"check power, cable and the resource in the bench file{_hint(resource)}"
        ) from error


def _hint(resource: str) -> str:
    """What stands in the way most often, by interface."""
    if resource.upper().startswith("USB"):
        return "; on Linux a udev rule must let you use the USB device"
    if resource.upper().startswith("ASRL") or resource.startswith("/"):
        return "; on Linux you must be in the group that owns the port, often dialout"
    return ""
