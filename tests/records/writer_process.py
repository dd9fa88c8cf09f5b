"""Run as a script: writes points into a store and says each one that is durable.

Arguments: folder, file with the setup as JSON, number of points. Prints `run <id>`, then
`durable <step>` after each point.
"""

from __future__ import annotations

import math
import sys
from pathlib import Path

from harness.descriptions.setup import setup_from_json
from harness.observation import Observation, PointRecord, Quantity, Source
from harness.records.run_header import Outcome
from harness.records.store import Store
from harness.timebase import RealClock

OBSERVATIONS_A_POINT = 400


def full_point(step: int) -> PointRecord:
    """A point of many observations whose values follow from the step."""
    seen = (
        Observation(Source.BOARD, Quantity.CELL_VOLTAGE, 1, i, step + i / 1000, 0.0, 0.0, "x" * 50)
        for i in range(OBSERVATIONS_A_POINT)
    )
    return PointRecord(1, step, {"nominal_volts": math.pi}, tuple(seen))


def main(folder: str, setup_file: str, points: int) -> None:
    """Write `points` points and finish."""
    setup = setup_from_json(Path(setup_file).read_text("utf-8"))
    with Store.open(folder) as store:
        writer = store.begin_run(setup, clock=RealClock(), serial_number="H-0007")
        sys.stdout.write(f"run {writer.run_id}\n")
        for step in range(points):
            writer.point(full_point(step))
            sys.stdout.write(f"durable {step}\n")
            sys.stdout.flush()
        writer.finish(Outcome.FINISHED)


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], int(sys.argv[3]))
