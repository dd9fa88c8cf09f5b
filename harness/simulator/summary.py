"""What a twin can tell when asked: highest values, what is on, what must not have happened."""

from __future__ import annotations

from dataclasses import dataclass

from pydantic import TypeAdapter

from harness.simulator.plant import Plant


@dataclass(frozen=True)
class TwinSummary:
    """Highest values since the start, and events counted.

    channel_volts : at the supply's terminals now, one a channel. outputs_on : channels that
    are on now by their own account, which a stuck output's is not worth.
    unprotected_starts : channels that were switched on before their current limit and
    protection had been set, or above 0 V.
    forbidden_relays : groups of relays closed together that never must be.
    """

    highest_cell_volts: float
    lowest_cell_volts: float
    highest_total_volts: float
    highest_amperes: float
    highest_watts: float
    highest_joules: float
    channel_volts: tuple[float, ...]
    outputs_on: tuple[int, ...]
    outputs_ever_on: tuple[int, ...]
    trips: tuple[int, ...]
    unprotected_starts: tuple[int, ...]
    constant_current: tuple[int, ...]
    forbidden_relays: tuple[tuple[str, ...], ...]
    relay_movements: int
    frames_sent: int


_ADAPTER: TypeAdapter[TwinSummary] = TypeAdapter(TwinSummary)


def summarised(plant: Plant, frames_sent: int) -> TwinSummary:
    """The summary of a plant at its present moment."""
    log, extremes = plant.log, plant.log.extremes
    starts = [event for event in log.outputs if event.is_on]
    poor = [
        event
        for event in starts
        if not (event.was_limit_set and event.was_protection_set and event.volts == 0)
    ]
    return TwinSummary(
        highest_cell_volts=extremes.highest_cell_volts,
        lowest_cell_volts=extremes.lowest_cell_volts,
        highest_total_volts=extremes.highest_total_volts,
        highest_amperes=extremes.highest_amperes,
        highest_watts=extremes.highest_total_watts,
        highest_joules=extremes.highest_joules,
        channel_volts=tuple(map(plant.terminal_volts, range(plant.outputs.channels))),
        outputs_on=tuple(sorted(log.outputs_on)),
        outputs_ever_on=tuple(sorted({event.channel for event in starts})),
        trips=tuple(event.channel for event in log.outputs if event.cause == "trip"),
        unprotected_starts=tuple(event.channel for event in poor),
        constant_current=tuple(sorted({channel for _, channel in log.constant_current})),
        forbidden_relays=tuple(event.relays for event in log.forbidden),
        relay_movements=len(log.relays),
        frames_sent=frames_sent,
    )


def summary_to_json(summary: TwinSummary) -> str:
    """The summary as one line of JSON."""
    return _ADAPTER.dump_json(summary).decode()


def summary_from_json(text: str) -> TwinSummary:
    """The summary that `summary_to_json` wrote."""
    return _ADAPTER.validate_json(text)
