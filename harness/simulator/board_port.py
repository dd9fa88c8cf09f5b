"""Where a simulated board's bytes go: pseudo-terminals, and clients of a TCP port.

Bytes that nobody reads are dropped whole frames at a time, as a UART's are; the board never
waits for a reader.
"""

from __future__ import annotations

import asyncio
import os
import socket
from typing import cast

LOOPBACK = "127.0.0.1"

# A client that is further behind than this loses frames.
MOST_UNREAD_BYTES = 65_536


class PtyPort:
    """A pseudo-terminal in raw mode; `path` is what a serial program opens.

    The simulator keeps the far end open too: without any opener a master reads an error.
    """

    def __init__(self) -> None:
        import tty  # not on Windows, where only the TCP port is served

        self._master, self._slave = os.openpty()
        tty.setraw(self._master)
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        self.path = os.ttyname(self._slave)
        self._rest = b""
        self._is_open = True

    def send(self, frame: bytes) -> bool:
        """Send one frame; False when there was no room and it was dropped."""
        if not self._is_open:
            return False
        self._discard_input()
        # The rest of a frame that was taken in part goes first, or two frames would mix.
        data = self._rest + frame
        try:
            sent = os.write(self._master, data)
        except BlockingIOError:
            return False
        if sent < len(self._rest):
            self._rest = self._rest[sent:]
            return False
        self._rest = data[sent:]
        return True

    def _discard_input(self) -> None:
        """Throw away what a program has written, or its writing would block one day."""
        try:
            os.read(self._master, 4096)
        except BlockingIOError:
            return

    def close(self) -> None:
        """Unplug: a program that has the path open gets an error from now on."""
        if self._is_open:
            self._is_open = False
            os.close(self._master)
            os.close(self._slave)


class TcpPort:
    """A loopback TCP port that sends the same bytes to every client."""

    def __init__(self) -> None:
        self._clients: set[asyncio.Transport] = set()
        self._server: asyncio.Server | None = None
        self.port = 0

    async def start(self) -> None:
        """Listen on a free loopback port, told by `port`."""
        loop = asyncio.get_running_loop()
        self._server = await loop.create_server(lambda: _Client(self._clients), LOOPBACK, 0)
        self.port = self._server.sockets[0].getsockname()[1]

    def send(self, frame: bytes) -> bool:
        """Send one frame to all clients that keep up."""
        for client in self._clients:
            if client.get_write_buffer_size() < MOST_UNREAD_BYTES:
                client.write(frame)
        return bool(self._clients)

    def close(self) -> None:
        """Unplug: stop listening and drop all clients."""
        if self._server is not None:
            self._server.close()
            self._server = None
        for client in list(self._clients):
            client.abort()
        self._clients.clear()


class _Client(asyncio.Protocol):
    """One reader of the board; what it sends is ignored."""

    def __init__(self, clients: set[asyncio.Transport]) -> None:
        self._clients = clients
        self._transport: asyncio.Transport | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        self._transport = cast("asyncio.Transport", transport)
        raw = self._transport.get_extra_info("socket")
        raw.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._clients.add(self._transport)

    def connection_lost(self, exc: Exception | None) -> None:
        if self._transport is not None:
            self._clients.discard(self._transport)
