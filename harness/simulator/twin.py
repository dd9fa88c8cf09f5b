"""A twin in a background thread of this process, for tests that look behind the scenes.

The twin shares the interpreter with its user, which slows both; `harness.simulator.process`
runs one in a process of its own.
"""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable
from dataclasses import dataclass
from types import TracebackType
from typing import TypeVar

from harness.descriptions.setup import Setup
from harness.errors import MisuseError
from harness.observation import FloatArray
from harness.simulator.addresses import Addresses, attached
from harness.simulator.bench_log import BenchLog
from harness.simulator.core import TwinCore, precise_event_loop
from harness.simulator.settings import TwinSettings
from harness.simulator.summary import TwinSummary
from harness.simulator.truth import StaticTruth

# Closing sockets and a pseudo-terminal takes milliseconds; a thread that is not done by then
# hangs.
STOP_TIMEOUT_SECONDS = 10.0

NOT_STARTED = "twin: expected to be started, got one that is not"

Answer = TypeVar("Answer")


@dataclass(frozen=True)
class Truth:
    """What is really so on a running twin; answers come from its own thread."""

    static: StaticTruth
    twin: Twin

    def cell_errors(self, cell_volts: FloatArray) -> FloatArray:
        """Injected errors of a warm board; see `StaticTruth.cell_errors`."""
        return self.static.cell_errors(cell_volts)

    def pin_volts(self) -> FloatArray:
        """True voltages at the pins T0..TN now, volts, shape (cells + 1,)."""
        core = self.twin.core

        def look() -> FloatArray:
            core.plant.advance(core.settings.clock.now())
            return core.plant.pin_volts()

        return self.twin.ask(look)

    @property
    def log(self) -> BenchLog:
        """Everything that happened so far; it goes on changing while the twin runs."""
        return self.twin.core.plant.log

    def summary(self) -> TwinSummary:
        """Highest values and counted events so far."""
        return self.twin.ask(self.twin.core.summary)


class Twin:
    """A running twin; a context manager that starts and stops it."""

    def __init__(self, settings: TwinSettings) -> None:
        self._settings = settings
        self._loop: asyncio.AbstractEventLoop | None = None
        self._thread: threading.Thread | None = None
        self._core: TwinCore | None = None
        self._addresses: Addresses | None = None

    def start(self) -> Twin:
        """Start serving; returns when every port is open.

        Raises
        ------
        DescriptionError : a planted fault has no place on this bench.
        """
        self._loop = loop = precise_event_loop()
        self._thread = threading.Thread(target=_serve, args=(loop,), name="twin", daemon=True)
        self._thread.start()
        try:
            self._core = self.ask(lambda: TwinCore(self._settings))
            starting = asyncio.run_coroutine_threadsafe(self._core.start(), loop)
            self._addresses = starting.result(STOP_TIMEOUT_SECONDS)
        except BaseException:
            self.stop()
            raise
        return self

    def stop(self) -> None:
        """Close every port and end the thread."""
        if self._core is not None:
            self.ask(self._core.close)
            self._core = None
        if self._loop is not None and self._thread is not None:
            self._loop.call_soon_threadsafe(self._loop.stop)
            self._thread.join(STOP_TIMEOUT_SECONDS)
            self._loop = self._thread = None

    def __enter__(self) -> Twin:
        return self.start()

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.stop()

    @property
    def core(self) -> TwinCore:
        """The twin's inside; to be touched in its own thread only, see `ask`."""
        if self._core is None:
            raise MisuseError(NOT_STARTED)
        return self._core

    @property
    def addresses(self) -> Addresses:
        """Where instruments and board are."""
        if self._addresses is None:
            raise MisuseError(NOT_STARTED)
        return self._addresses

    @property
    def truth(self) -> Truth:
        """What is really so."""
        return Truth(StaticTruth(self._settings.setup, self.core.draw), self)

    def attach(self, setup: Setup) -> Setup:
        """`setup` with this twin's addresses in place of its own."""
        return attached(setup, self.addresses)

    def ask(self, question: Callable[[], Answer]) -> Answer:
        """Have `question` answered in the twin's thread."""
        if self._loop is None:
            raise MisuseError(NOT_STARTED)

        async def answer() -> Answer:
            return question()

        return asyncio.run_coroutine_threadsafe(answer(), self._loop).result(STOP_TIMEOUT_SECONDS)


def _serve(loop: asyncio.AbstractEventLoop) -> None:
    """Run `loop` until it is told to stop, and close it."""
    asyncio.set_event_loop(loop)
    loop.run_forever()
    # Transports that were told to close need one more turn to do so.
    loop.run_until_complete(asyncio.sleep(0))
    loop.close()
