"""What happened in a run that a reader of its verdict should know, from its events; pure.

A run can pass although its link lost frames or an instrument complained: each of these is one
plain sentence under the verdict. What concerns the values themselves is in the findings.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from harness.records.run_header import Event

LINK = "link statistics"

# Events that stand for themselves.
TOLD = frozenset({"output not off", "fault while switching off", "error queue", "slow board"})


def remarks_of(events: Iterable[Event]) -> tuple[str, ...]:
    """The sentences, in the order of the events, each once."""
    found = []
    for event in events:
        if event.kind in TOLD:
            found.append(f"{event.kind.capitalize()}: {event.text}.".replace("..", "."))
        elif event.kind == LINK and is_damaged(event.data):
            found.append(f"Board link: {event.text}.")
    return tuple(dict.fromkeys(found))


def is_damaged(counts: Mapping[str, object]) -> bool:
    """Whether the counts of the link hold anything but good frames."""
    return any(count for name, count in counts.items() if name != "good")
