"""Puts a twin together inside a running event loop: plant, instruments, board and servers."""

from __future__ import annotations

import asyncio
import os
import selectors

from harness.simulator.addresses import Addresses
from harness.simulator.board import Board
from harness.simulator.board_port import LOOPBACK, PtyPort, TcpPort
from harness.simulator.board_stream import BoardStream
from harness.simulator.devices import make_devices
from harness.simulator.draws import BenchDraw, draw_bench
from harness.simulator.faults import InstrumentFault, check_faults
from harness.simulator.frame_faults import FrameTampering
from harness.simulator.plant import Plant
from harness.simulator.scpi_server import ScpiServer
from harness.simulator.settings import TwinSettings
from harness.simulator.summary import TwinSummary, summarised

# Ends of the board's serial loop that are served as pseudo-terminals.
LOOP_ENDS = 2


def precise_event_loop() -> asyncio.AbstractEventLoop:
    """An event loop whose timers are not rounded up to whole milliseconds.

    The usual selector (epoll) rounds; at twenty times real time a millisecond would be a
    whole aperture. `select` serves at most 1024 open files, far more than a twin has.
    """
    return asyncio.SelectorEventLoop(selectors.SelectSelector())


class TwinCore:
    """One twin; all methods are called in its event loop.

    Parameters
    ----------
    settings : checked here, see `check_faults`.

    Raises
    ------
    DescriptionError : a planted fault has no place on this bench.
    """

    def __init__(self, settings: TwinSettings) -> None:
        setup, faults, clock = settings.setup, settings.faults, settings.clock
        check_faults(faults, setup)
        start = clock.now()
        self.settings = settings
        self.draw: BenchDraw = draw_bench(setup, faults, settings.seed)
        self.plant = Plant(setup, faults, self.draw, start)
        self._servers = {
            name: ScpiServer(device, clock, faults.instrument.get(name, InstrumentFault()))
            for name, device in make_devices(settings, self.plant, self.draw).items()
        }
        self._tcp = TcpPort()
        self._ptys = [PtyPort() for _ in range(LOOP_ENDS)] if hasattr(os, "openpty") else []
        self.stream = BoardStream(
            board=Board(setup, faults, self.draw, self.plant, start),
            plant=self.plant,
            layout=setup.board.frame,
            clock=clock,
            tampering=FrameTampering(faults.link, setup.board.frame, self.draw.link_noise),
            fault=faults.link,
            ports=[*self._ptys, self._tcp],
        )

    async def start(self) -> Addresses:
        """Listen and send; returns where."""
        for server in self._servers.values():
            await server.start()
        await self._tcp.start()
        self.stream.start()
        return Addresses(
            resources={
                name: f"TCPIP::{LOOPBACK}::{server.port}::SOCKET"
                for name, server in self._servers.items()
            },
            board_paths=tuple(pty.path for pty in self._ptys),
            board_url=f"socket://{LOOPBACK}:{self._tcp.port}",
        )

    def summary(self) -> TwinSummary:
        """Highest values and counted events so far, and what is on now."""
        self.plant.advance(self.settings.clock.now())
        return summarised(self.plant, self.stream.frames_sent)

    def close(self) -> None:
        """Stop everything and close every port."""
        self.stream.stop()
        for server in self._servers.values():
            server.close()
        for pty in self._ptys:
            pty.close()
        self._tcp.close()
