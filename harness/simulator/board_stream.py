"""Sends a simulated board's frames when their time comes on the shared clock."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from typing import Protocol

from harness.descriptions.board import FrameLayout
from harness.protocols.frame_encoder import encoder_for
from harness.simulator.board import Board, Sample
from harness.simulator.faults import LinkFault
from harness.simulator.frame_faults import FrameTampering, shortened_layout
from harness.simulator.plant import Plant
from harness.timebase import Clock


class Port(Protocol):
    """Where frames go."""

    def send(self, frame: bytes) -> bool:
        """Send one frame; False when it was dropped."""
        ...

    def close(self) -> None:
        """Unplug."""
        ...


class BoardStream:
    """Encodes samples, tampers with them as planted, and sends them to every port."""

    def __init__(
        self,
        board: Board,
        plant: Plant,
        layout: FrameLayout,
        clock: Clock,
        tampering: FrameTampering,
        fault: LinkFault,
        ports: Sequence[Port],
    ) -> None:
        self._board = board
        self._plant = plant
        self._encoder = encoder_for(shortened_layout(layout, fault.cells_sent))
        self._clock = clock
        self._tampering = tampering
        self._fault = fault
        self._ports = ports
        self._timer: asyncio.TimerHandle | None = None
        self.is_running = False
        self.frames_sent = 0

    def start(self) -> None:
        """Send frames from now on."""
        self.is_running = True
        self._wait()

    def stop(self) -> None:
        """Send no more."""
        self.is_running = False
        if self._timer is not None:
            self._timer.cancel()

    def _wait(self) -> None:
        wait = self._clock.real_seconds(self._board.next_begins - self._clock.now())
        self._timer = asyncio.get_running_loop().call_later(max(0.0, wait), self._send_due)

    def _send_due(self) -> None:
        self._plant.advance(self._clock.now())
        for sample in self._board.take_due():
            self._send(sample)
        if self.is_running:
            self._wait()

    def _send(self, sample: Sample) -> None:
        elapsed = self._since_first_output(sample.begins)
        if _has_come(self._fault.unplugged_after_seconds, elapsed):
            for port in self._ports:
                port.close()
            self.stop()
        elif not _has_come(self._fault.silent_after_seconds, elapsed):
            values = [sample.values.get(column, 0.0) for column in self._encoder.columns]
            frame = self._encoder.encode(values, sample.sequence, sample.uptime_seconds)
            frame = self._tampering.tampered(frame)
            for port in self._ports:
                port.send(frame)
            self.frames_sent += 1

    def _since_first_output(self, moment: float) -> float:
        """Seconds from the first output's going on to `moment`; negative before it."""
        events = self._plant.log.outputs
        return moment - events[0].time if events else -1.0


def _has_come(moment: float | None, elapsed: float) -> bool:
    return moment is not None and elapsed >= moment
