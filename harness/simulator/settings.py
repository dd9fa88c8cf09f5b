"""What a twin is made from."""

from __future__ import annotations

from dataclasses import dataclass, field

from harness.descriptions.setup import Setup
from harness.simulator.faults import Faults
from harness.timebase import Clock, RealClock


@dataclass(frozen=True)
class TwinSettings:
    """What to simulate. `seed` fixes every draw; `clock` is shared with whoever uses the twin."""

    setup: Setup
    faults: Faults = field(default_factory=Faults)
    seed: int = 0
    clock: Clock = field(default_factory=RealClock)
