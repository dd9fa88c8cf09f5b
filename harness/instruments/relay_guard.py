"""Which relays are closed over all cards, and which must never be closed together. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from harness.instruments.faults import RelayConflict

Relay = tuple[str, str]


class RelayGuard:
    """Keeps the never-together groups of a bench.

    Parameters
    ----------
    groups : each a set of (instrument, relay) of which at most one may be closed.
    """

    def __init__(self, groups: Iterable[Iterable[Relay]] = ()) -> None:
        self._groups = [frozenset(group) for group in groups]
        self._closed: dict[str, frozenset[str]] = {}

    @property
    def closed(self) -> Mapping[str, frozenset[str]]:
        """Relays closed or about to be, by instrument."""
        return dict(self._closed)

    def authorise(self, instrument: str, relays: frozenset[str]) -> None:
        """Allow exactly `relays` to be closed on `instrument`, and count them as closed.

        Raises
        ------
        RelayConflict : two relays of one group would be closed; nothing is counted then.
        """
        closed = {(i, r) for i, names in self._closed.items() if i != instrument for r in names}
        closed |= {(instrument, relay) for relay in relays}
        for group in self._groups:
            together = sorted(group & closed)
            if len(together) > 1:
                names = " and ".join(f"{i}:{r}" for i, r in together)
                raise RelayConflict(
                    f"relays {names}: expected at most one of them closed "
                    "(paths.never_together), got both asked for; correct the paths in the "
                    "bench file"
                )
        self._closed[instrument] = relays
