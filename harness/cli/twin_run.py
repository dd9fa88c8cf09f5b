"""Running a plan on the twin: starts the simulated bench, then does what `run` does."""

from __future__ import annotations

from harness.cli.conducting import Presentation, measure_and_present
from harness.descriptions.setup import Setup
from harness.records.run_header import RunKind
from harness.run.conduct import RunIdentity
from harness.simulator.faults import Faults
from harness.simulator.process import TwinProcess


def run_on_twin(
    setup: Setup,
    faults: Faults | None,
    seed: int,
    speed: float,
    presentation: Presentation,
    serial_number: str,
    remark: str = "",
) -> None:
    """Start the twin of `setup` with planted faults, run the plan on it, present, leave.

    Parameters
    ----------
    faults : what is planted, None for a healthy board; seed : of the twin's own errors;
        speed : of the clock that twin and harness share; remark : said after the verdict.

    Raises
    ------
    DescriptionError : the twin cannot be built. Others as `measure_and_present`.
    """
    with TwinProcess(setup, faults, seed=seed, speed=speed) as twin:
        measure_and_present(
            twin.setup,
            twin.clock,
            RunIdentity(
                serial_number=serial_number,
                kind=RunKind.REHEARSED,
                seed=seed,
                notes=f"simulated bench, clock at {speed:g} times real time",
            ),
            presentation,
            remark,
        )
