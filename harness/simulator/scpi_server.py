"""Serves one simulated instrument on a loopback TCP socket.

An instrument does one thing at a time: messages of all connections are executed in the order
they came, and one that waits (an aperture, a relay) holds up those behind it. Replies go out
in one piece with Nagle's delay off. Waits pass on the shared clock.
"""

from __future__ import annotations

import asyncio
import socket
from collections import deque
from collections.abc import Callable, Generator
from typing import Protocol, cast

from harness.simulator.faults import InstrumentFault
from harness.timebase import Clock

LOOPBACK = "127.0.0.1"

# A client that never reads must not fill the memory: it is dropped at this much unread.
MOST_UNREAD_BYTES = 1_000_000

# IEEE 488.2 lets an instrument bound its input buffer; no message of ours comes near.
LONGEST_MESSAGE_BYTES = 65_536

Execution = Generator[float, None, "str | None"]


class Device(Protocol):
    """What is served."""

    def execute(self, message: str) -> Execution:
        """Execute one program message: yields seconds to wait, returns the reply or None."""
        ...


class ScpiServer:
    """One instrument on one port.

    Parameters
    ----------
    fault : what the instrument does wrong with messages as such.
    """

    def __init__(self, device: Device, clock: Clock, fault: InstrumentFault) -> None:
        self._device = device
        self._clock = clock
        self._fault = fault
        self._orders: deque[tuple[_Connection, str]] = deque()
        self._is_busy = False
        self._messages = 0
        self._server: asyncio.Server | None = None
        self.connections: set[_Connection] = set()
        self.port = 0

    async def start(self) -> None:
        """Listen on a free loopback port, told by `port`."""
        loop = asyncio.get_running_loop()
        self._server = await loop.create_server(lambda: _Connection(self), LOOPBACK, 0)
        self.port = self._server.sockets[0].getsockname()[1]

    def close(self) -> None:
        """Stop listening and drop all connections."""
        if self._server is not None:
            self._server.close()
        for connection in list(self.connections):
            connection.drop()

    def receive(self, connection: _Connection, message: str) -> None:
        """Take one message and execute it when its turn comes."""
        self._orders.append((connection, message))
        if not self._is_busy:
            self._work()

    def _work(self) -> None:
        """Execute waiting messages until one has to wait itself."""
        while self._orders and not self._is_busy:
            connection, message = self._orders.popleft()
            self._messages += 1
            if self._is_struck(self._fault.drop_after_messages):
                connection.drop()
            elif not self._is_struck(self._fault.silent_after_messages):
                self._is_busy = True
                self._continue(connection, self._device.execute(message))

    def _continue(self, connection: _Connection, running: Execution) -> None:
        """Run one message to its next wait or to its end."""
        try:
            while not (seconds := next(running)) > 0:
                pass
        except StopIteration as end:
            self._finish(connection, cast("str | None", end.value))
            return
        self._after(seconds, lambda: self._continue(connection, running))

    def _finish(self, connection: _Connection, reply: str | None) -> None:
        if reply is None:
            self._is_busy = False
        elif self._fault.late_seconds > 0 and self._is_struck(self._fault.late_after_messages):
            self._after(self._fault.late_seconds, lambda: self._reply(connection, reply))
        else:
            self._is_busy = False
            connection.reply(reply)

    def _reply(self, connection: _Connection, reply: str) -> None:
        self._is_busy = False
        connection.reply(reply)

    def _is_struck(self, after_messages: int | None) -> bool:
        """Whether a fault that begins after so many messages meets the present one."""
        if after_messages is None or self._messages <= after_messages:
            return False
        lasting = self._fault.lasting_messages
        return lasting is None or self._messages <= after_messages + lasting

    def _after(self, seconds: float, action: Callable[[], None]) -> None:
        """Call `action` after `seconds` of the shared clock, then go on with what waits."""

        def resume() -> None:
            action()
            self._work()

        asyncio.get_running_loop().call_later(self._clock.real_seconds(seconds), resume)


class _Connection(asyncio.Protocol):
    """Bytes of one client into messages, replies into bytes."""

    def __init__(self, server: ScpiServer) -> None:
        self._server = server
        self._transport: asyncio.Transport | None = None
        self._waiting = b""

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        self._transport = cast("asyncio.Transport", transport)
        raw = self._transport.get_extra_info("socket")
        raw.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._server.connections.add(self)

    def connection_lost(self, exc: Exception | None) -> None:
        self._server.connections.discard(self)
        self._transport = None

    def data_received(self, data: bytes) -> None:
        *messages, self._waiting = (self._waiting + data).split(b"\n")
        if len(self._waiting) > LONGEST_MESSAGE_BYTES:
            self.drop()
        for message in messages:
            self._server.receive(self, message.decode("latin-1").rstrip("\r"))

    def reply(self, text: str) -> None:
        """Send one reply; nobody is left to hear it when the client has gone."""
        if self._transport is None:
            return
        self._transport.write(text.encode("latin-1", "replace") + b"\n")
        if self._transport.get_write_buffer_size() > MOST_UNREAD_BYTES:
            self.drop()

    def drop(self) -> None:
        """Close at once."""
        if self._transport is not None:
            self._transport.abort()
