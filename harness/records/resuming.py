"""Where to take up a run that was stopped: what is whole already, check by check.

The records only say what is there; whether the bench may go on is decided by the caller.
"""

from __future__ import annotations

from collections.abc import Mapping

from harness.records import reading
from harness.records.store import Store


def next_steps(store: Store, run_id: str) -> Mapping[int, int]:
    """For each check of the plan, by index, the step after its last whole point.

    Where to take up a run that was stopped: points before are whole, none after exists.

    Raises
    ------
    RecordError : no such run.
    """
    checks = range(len(store.setup(run_id).plan.check))
    with store.reading_run(run_id) as (connection, number):
        rows = reading.point_rows(connection, number)
    done = {check: [r["step"] for r in rows if r["check_index"] == check] for check in checks}
    return {check: max(steps, default=-1) + 1 for check, steps in done.items()}
