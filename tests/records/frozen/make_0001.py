"""Made `0001.sqlite`, a database of the first released schema; run once, never again.

Kept so that anyone can see what is in it. A later schema gets a sample and a script of its
own; this pair stays as it is.
"""

from __future__ import annotations

import datetime
import platform
import sys
import uuid
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from records_samples import HandClock, small_point, small_setup

from harness.finding import CheckResult, Judgement
from harness.records.run_header import InstrumentRecord, Outcome, RunKind
from harness.records.store import Store

HERE = Path(__file__).parent


def main() -> None:
    """Two runs: one finished and judged, one that was stopped."""
    platform.platform = lambda *_, **__: "an invented computer"
    setup, clock = small_setup(), HandClock()
    with Store.open(HERE / "0001.sqlite") as store:
        finished = store.begin_run(
            setup, clock=clock, serial_number="H-0007", operator="mw", station="galley",
            utc_offset_seconds=3600, seed=7, notes="as found",
            run_id=uuid.UUID("0f8fad5b-d9cb-469f-a165-70867728950e"),
        )  # fmt: skip
        finished.instrument(
            InstrumentRecord(
                "dmm", "meter", "TCPIP::x::SOCKET", "INVENTED,M7,0042,1.0", "0042",
                datetime.date(2026, 2, 1), datetime.date(2027, 2, 1), "90d", "none",
            )
        )  # fmt: skip
        for step in range(4):
            finished.point(small_point(step))
        finished.event("retry", "meter did not answer", {"attempt": 1})
        finished.finish(Outcome.FINISHED)
        lacking = CheckResult("mapping", 0, False, None, "this bench lacks everything")
        store.add_judgement(finished.run_id, Judgement((lacking,)), setup.plan, 1_772_380_000.0)
        stopped = store.begin_run(
            setup, clock=clock, kind=RunKind.REHEARSED, serial_number="H-0008",
            run_id=uuid.UUID("7c9e6679-7425-40de-944b-e07fc1f90ae7"),
        )  # fmt: skip
        stopped.point(small_point(0))


if __name__ == "__main__":
    main()
