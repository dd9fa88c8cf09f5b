"""`tapproof report RUN`: the HTML report of a kept run, written again."""

from __future__ import annotations

from pathlib import Path

import rich_click as click

from harness.cli.options import FILE, RUN_HELP, results_option, run_argument
from harness.cli.translating import translated


@click.command(epilog=RUN_HELP)
@run_argument
@click.option("--plan", "plan_path", type=FILE, default=None, help="Judge by this plan instead.")
@results_option
@translated
def report(run_id: str, plan_path: Path | None, results: Path) -> None:
    """Write the HTML report of a kept run."""
    from harness.cli.conducting import write_page
    from harness.cli.reading import judged_run, opened_store

    with opened_store(results) as store:
        page = write_page(store, judged_run(store, run_id, plan_path), results)
    click.echo(page)
