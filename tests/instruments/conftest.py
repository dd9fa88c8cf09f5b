"""Every scripted wire made by `script` must have been played to its end."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest
from scripted_wire import ScriptedWire


@pytest.fixture
def script() -> Iterator[Callable[..., ScriptedWire]]:
    """Make a scripted wire from (sent, answered) lines."""
    made: list[ScriptedWire] = []

    def make(*lines: tuple[str, object]) -> ScriptedWire:
        made.append(ScriptedWire(lines))
        return made[-1]

    yield make
    for wire in made:
        wire.assert_played()
