"""`tapproof show RUN`: one kept run, judged by its own plan."""

from __future__ import annotations

import sys
from pathlib import Path

import rich_click as click

from harness.cli.options import RUN_HELP, json_option, results_option, run_argument
from harness.cli.translating import translated


@click.command(epilog=RUN_HELP)
@run_argument
@results_option
@json_option
@translated
def show(run_id: str, results: Path, as_json: bool) -> None:
    """Show one run: verdict, checks, worst findings."""
    from harness.cli.judged import present_judged
    from harness.cli.reading import judged_run, opened_store

    with opened_store(results) as store:
        judged = judged_run(store, run_id)
        sys.exit(present_judged(store, judged, as_json))
