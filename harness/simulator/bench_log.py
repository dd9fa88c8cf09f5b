"""What happened on a simulated bench: switching events and the highest values ever.

For tests and for rehearsal summaries; the harness never sees it through an instrument.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from harness.observation import FloatArray


@dataclass(frozen=True)
class OutputSwitched:
    """An output went on or off at `time` (seconds of the clock).

    volts : set-point at that moment; was_limit_set, was_protection_set : whether the
    programme had set the channel's current limit and protection before. cause : "command",
    "trip" or "reset".
    """

    time: float
    channel: int
    is_on: bool
    volts: float
    was_limit_set: bool
    was_protection_set: bool
    cause: str = "command"


@dataclass(frozen=True)
class RelayMoved:
    """A relay's contacts opened or closed at `time`."""

    time: float
    instrument: str
    relay: str
    is_closed: bool


@dataclass(frozen=True)
class ForbiddenTogether:
    """Relays that must never be closed together were."""

    time: float
    relays: tuple[str, ...]


@dataclass
class Extremes:
    """Highest and lowest values since the start: volts at the board's pins, amperes, watts.

    output_farads : of each source; its stored energy counts to `highest_joules`.
    """

    output_farads: float = 0.0
    highest_cell_volts: float = 0.0
    lowest_cell_volts: float = 0.0
    highest_total_volts: float = 0.0
    highest_source_volts: float = 0.0
    highest_amperes: float = 0.0
    highest_total_watts: float = 0.0
    highest_joules: float = 0.0

    def note(self, pins: FloatArray, source_volts: FloatArray, amperes: FloatArray) -> None:
        """Take in one moment; between the moments noted everything moves in straight lines."""
        cells = np.diff(pins)
        self.highest_cell_volts = max(self.highest_cell_volts, float(cells.max()))
        self.lowest_cell_volts = min(self.lowest_cell_volts, float(cells.min()))
        self.highest_total_volts = max(self.highest_total_volts, float(pins[-1] - pins[0]))
        self.highest_source_volts = max(self.highest_source_volts, float(source_volts.max()))
        self.highest_amperes = max(self.highest_amperes, float(np.abs(amperes).max()))
        watts = float(np.abs(source_volts * amperes).sum())
        self.highest_total_watts = max(self.highest_total_watts, watts)
        joules = self.output_farads / 2 * float((source_volts * source_volts).sum())
        self.highest_joules = max(self.highest_joules, joules)


@dataclass
class BenchLog:
    """All events in order."""

    outputs: list[OutputSwitched] = field(default_factory=list)
    relays: list[RelayMoved] = field(default_factory=list)
    forbidden: list[ForbiddenTogether] = field(default_factory=list)
    constant_current: list[tuple[float, int]] = field(default_factory=list)
    extremes: Extremes = field(default_factory=Extremes)

    @property
    def outputs_on(self) -> frozenset[int]:
        """Supply channels whose output is on now."""
        latest = {event.channel: event.is_on for event in self.outputs}
        return frozenset(channel for channel, is_on in latest.items() if is_on)
