"""A wire that plays a dialogue, and a clock that moves only when somebody sleeps.

A dialogue is a list of (sent, answered). Whatever is sent must be the next line; at the end
nothing may be left unsent or unread.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass

from harness.descriptions.instrument import Dialogue
from harness.instruments.transport import Transport
from harness.instruments.wire import WireError, WireTimeout

Answer = "str | WireError | Late"


@dataclass(frozen=True)
class Late:
    """An answer that has not come when its reader gives up, but comes before the next one."""

    text: str


@dataclass
class HandClock:
    """A clock that stands still but for `sleep`."""

    seconds: float = 100.0
    wall_offset: float = 1_700_000_000.0

    def now(self) -> float:
        return self.seconds

    def wall(self) -> float:
        return self.wall_offset + self.seconds

    def sleep(self, seconds: float) -> None:
        self.seconds += max(0.0, seconds)

    def real_seconds(self, seconds: float) -> float:
        return seconds

    def real_timeout(self, seconds: float) -> float:
        return seconds


class ScriptedWire:
    """See the module's docstring; `answered` is None, a text, a fault, or a list of those."""

    def __init__(self, lines: Sequence[tuple[str, object]]) -> None:
        self._lines = deque(lines)
        self._arrived: deque[object] = deque()
        self._late: deque[str] = deque()
        self.reopened = 0
        self.drained = 0
        self.is_closed = False
        self.timeouts: list[float] = []

    def send(self, message: bytes) -> None:
        text = message.decode("latin-1")
        assert self._lines, f"unexpected: {text}"
        expected, answered = self._lines.popleft()
        assert expected == text
        while self._late:
            self._arrived.append(self._late.popleft())
        for item in answered if isinstance(answered, list) else [answered]:
            if isinstance(item, Late):
                self._late.append(item.text)
            elif item is not None:
                self._arrived.append(item)
        if self._arrived and isinstance(self._arrived[0], SendFault):
            raise self._arrived.popleft().error

    def receive(self, timeout_seconds: float) -> bytes:
        self.timeouts.append(timeout_seconds)
        if not self._arrived:
            raise WireTimeout
        item = self._arrived.popleft()
        if isinstance(item, WireError):
            raise item
        assert isinstance(item, str)
        return item.encode("latin-1") + b"\r"

    def has_input(self) -> bool:
        if self._arrived and isinstance(self._arrived[0], WireError):
            raise self._arrived.popleft()
        return bool(self._arrived)

    def drain(self) -> None:
        self.drained += 1
        self._arrived.clear()

    def reopen(self) -> None:
        self.reopened += 1
        self._arrived.clear()
        self._late.clear()

    def close(self) -> None:
        self.is_closed = True

    def assert_played(self) -> None:
        """Nothing unsent, nothing unread."""
        assert [] == list(self._lines), "unsent"
        assert [] == list(self._arrived), "unread"


@dataclass(frozen=True)
class SendFault:
    """Sending this line fails."""

    error: WireError


def transport(
    wire: ScriptedWire,
    name: str = "meter",
    dialogue: Dialogue | None = None,
    clock: HandClock | None = None,
) -> Transport:
    """A transport over `wire` at the resource TCPIP::bench::5025::SOCKET."""
    return Transport(
        wire, name, "TCPIP::bench::5025::SOCKET", dialogue or Dialogue(), clock or HandClock()
    )
