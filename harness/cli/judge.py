"""`tapproof judge RUN`: decide a kept run again, under its own plan or another."""

from __future__ import annotations

import sys
import time
from pathlib import Path

import rich_click as click

from harness.cli.options import FILE, RUN_HELP, json_option, results_option, run_argument
from harness.cli.translating import translated


@click.command(epilog=RUN_HELP)
@run_argument
@click.option(
    "--plan",
    "plan_path",
    type=FILE,
    default=None,
    help="Plan to judge by, instead of the run's own: its limits, rule and settings count.",
)
@results_option
@json_option
@translated
def judge(run_id: str, plan_path: Path | None, results: Path, as_json: bool) -> None:
    """Decide a kept run again from its raw observations.

    No bench is needed. The record keeps that it was judged; nothing in it is changed.
    """
    from harness.cli.judged import present_judged
    from harness.cli.options import database_of
    from harness.cli.reading import judged_run, opened_store
    from harness.records.store import Store

    with opened_store(results) as store:
        judged = judged_run(store, run_id, plan_path)
        code = present_judged(store, judged, as_json)
    with Store.open(database_of(results)) as store:
        store.add_judgement(judged.header.id, judged.judgement, judged.setup.plan, time.time())
    sys.exit(code)
