"""Relay names: which card and which of its relays a name in a bench file means.

With one relay card on the bench a relay is named as on the card ("101"). With several cards
it is "<instrument>:<relay>" ("upper:101"), and the plain form means nothing. Pure look-ups;
nothing here closes a relay.
"""

from __future__ import annotations

from collections.abc import Mapping

from harness.descriptions.bench import Paths
from harness.descriptions.instrument import InstrumentModel, SwitchModel
from harness.descriptions.setup import Setup
from harness.errors import DescriptionError


def switch_models(models: Mapping[str, InstrumentModel]) -> dict[str, SwitchModel]:
    """The relay cards among `models`, by the instrument's name in the bench file."""
    return {name: model for name, model in models.items() if isinstance(model, SwitchModel)}


def find_relay(relay: str, switches: Mapping[str, SwitchModel]) -> tuple[str, str] | None:
    """The (instrument, relay on it) that `relay` means among `switches`, or None."""
    if len(switches) == 1:
        ((name, model),) = switches.items()
        return (name, relay) if relay in model.relays else None
    instrument, colon, plain = relay.partition(":")
    if colon and instrument in switches and plain in switches[instrument].relays:
        return (instrument, plain)
    return None


def resolve_relay(relay: str, setup: Setup) -> tuple[str, str]:
    """The (instrument, relay on it) that a relay name of the bench file means.

    Raises
    ------
    DescriptionError : no relay card of the bench has such a relay.
    """
    found = find_relay(relay, switch_models(setup.models))
    if found is None:
        expected = relay_expectation(switch_models(setup.models))
        raise DescriptionError(f'relay: expected {expected}, got "{relay}"')
    return found


def relay_expectation(switches: Mapping[str, SwitchModel]) -> str:
    """The words that say what a relay name may be on a bench with these cards."""
    if not switches:
        return "a relay card among the instruments"
    names = ", ".join(switches)
    if len(switches) == 1:
        return f"a relay of {names}"
    return f'"instrument:relay" with a relay of {names}'


def named_paths(paths: Paths) -> dict[tuple[str | int, ...], tuple[str, ...]]:
    """Every declared path with its key in the bench file, list indices counting from 0."""
    found: dict[tuple[str | int, ...], tuple[str, ...]] = {}
    for key in ("meter_at_cell", "decade_at_thermistor", "rung_shunt"):
        for index, relays in enumerate(getattr(paths, key)):
            found["paths", key, index] = relays
    for key in ("meter_at_stack", "meter_at_decade"):
        single = getattr(paths, key)
        if single is not None:
            found["paths", key] = single
    return found
