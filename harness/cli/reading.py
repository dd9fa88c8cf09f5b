"""What the commands that read kept runs share: open, find, judge."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from harness.cli.options import database_of
from harness.records.store import Store

if TYPE_CHECKING:
    from harness.run.rejudge import JudgedRun


@contextmanager
def opened_store(results: Path) -> Iterator[Store]:
    """The records of a results folder, for reading.

    Raises
    ------
    RecordError : there are none, or they cannot be read.
    """
    store = Store.open_to_read(database_of(results))
    try:
        yield store
    finally:
        store.close()


def judged_run(store: Store, wanted: str, plan_path: Path | None = None) -> JudgedRun:
    """The run that `wanted` names (start of its id, or `latest`), judged.

    Raises
    ------
    RecordError : no such run. DescriptionError : the other plan's file is faulty.
    """
    from harness.descriptions.reading import read_plan
    from harness.run.rejudge import judge_kept_run

    plan = read_plan(plan_path) if plan_path else None
    return judge_kept_run(store, store.find_run(wanted), plan)
