"""Time as an argument: the one clock that everything which waits is given.

`RealClock` is time as it passes. `ScaledClock` lets a simulated bench and the harness share a
clock that runs `speed` times faster: settling and integration still take their simulated
time, and what the computer itself needs counts `speed`-fold, never less. Two processes agree
on a scaled clock by agreeing on its epoch, because the operating system's monotonic clock is
common to both.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from typing import Protocol

# Operating-system time-outs in a fast rehearsal must still outlast the scheduling of a loaded
# machine: half a second tripped once in hundreds of benches on two cores with eight tasks.
SHORTEST_REAL_TIMEOUT_SECONDS = 1.5


class Clock(Protocol):
    """A clock in seconds; `now` is monotonic with an arbitrary zero."""

    def now(self) -> float:
        """Monotonic seconds."""
        ...

    def wall(self) -> float:
        """Seconds since the Unix epoch."""
        ...

    def sleep(self, seconds: float) -> None:
        """Wait until `now` has advanced by `seconds`; returns at once when not positive."""
        ...

    def real_seconds(self, seconds: float) -> float:
        """The operating system's seconds that `seconds` of this clock take."""
        ...

    def real_timeout(self, seconds: float) -> float:
        """As `real_seconds`, but never so short that a busy machine trips over it."""
        ...


@dataclass(frozen=True)
class RealClock:
    """Time as it passes."""

    def now(self) -> float:
        """Monotonic seconds."""
        return time.monotonic()

    def wall(self) -> float:
        """Seconds since the Unix epoch."""
        return time.time()

    def sleep(self, seconds: float) -> None:
        """Wait `seconds`; returns at once when not positive."""
        if seconds > 0:
            time.sleep(seconds)

    def real_seconds(self, seconds: float) -> float:
        """Unchanged."""
        return seconds

    def real_timeout(self, seconds: float) -> float:
        """Unchanged."""
        return seconds


@dataclass(frozen=True)
class ScaledClock:
    """A clock that runs `speed` times as fast as the operating system's."""

    speed: float
    epoch_monotonic: float = field(default_factory=time.monotonic)
    epoch_wall: float = field(default_factory=time.time)

    def __post_init__(self) -> None:
        if not self.speed > 0:
            raise ValueError(f"speed: expected a number above 0, got {self.speed!r}")

    def now(self) -> float:
        """Simulated monotonic seconds since the epoch."""
        return (time.monotonic() - self.epoch_monotonic) * self.speed

    def wall(self) -> float:
        """Simulated seconds since the Unix epoch."""
        return self.epoch_wall + self.now()

    def sleep(self, seconds: float) -> None:
        """Wait `seconds` of simulated time."""
        if seconds > 0:
            time.sleep(seconds / self.speed)

    def real_seconds(self, seconds: float) -> float:
        """`seconds` divided by the speed."""
        return seconds / self.speed

    def real_timeout(self, seconds: float) -> float:
        """`seconds` divided by the speed, at least `SHORTEST_REAL_TIMEOUT_SECONDS`."""
        return max(seconds / self.speed, SHORTEST_REAL_TIMEOUT_SECONDS)
