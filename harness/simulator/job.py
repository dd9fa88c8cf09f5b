"""What a twin in a process of its own is told at its start, as one line of JSON."""

from __future__ import annotations

import json
from dataclasses import dataclass

from harness.descriptions.setup import Setup, setup_from_json, setup_to_json
from harness.simulator.faults import Faults, faults_from_json, faults_to_json
from harness.simulator.settings import TwinSettings
from harness.timebase import ScaledClock


@dataclass(frozen=True)
class TwinJob:
    """A setup, planted faults, the seed of all draws, and the clock to share."""

    setup: Setup
    faults: Faults
    seed: int
    clock: ScaledClock

    @property
    def settings(self) -> TwinSettings:
        """The same as the twin itself takes it."""
        return TwinSettings(self.setup, self.faults, self.seed, self.clock)


def job_to_json(job: TwinJob) -> str:
    """The job as one line of JSON."""
    return json.dumps(
        {
            "setup": setup_to_json(job.setup),
            "faults": faults_to_json(job.faults),
            "seed": job.seed,
            "speed": job.clock.speed,
            "epoch_monotonic": job.clock.epoch_monotonic,
            "epoch_wall": job.clock.epoch_wall,
        }
    )


def job_from_json(text: str) -> TwinJob:
    """The job that `job_to_json` wrote.

    Raises
    ------
    ValueError : the text is no such job.
    """
    plain = json.loads(text)
    return TwinJob(
        setup=setup_from_json(plain["setup"]),
        faults=faults_from_json(plain["faults"]),
        seed=plain["seed"],
        clock=ScaledClock(plain["speed"], plain["epoch_monotonic"], plain["epoch_wall"]),
    )
