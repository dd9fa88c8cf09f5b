"""`tapproof export RUN`: a run's observations for other programs."""

from __future__ import annotations

from pathlib import Path

import rich_click as click

from harness.cli.options import RUN_HELP, results_option, run_argument
from harness.cli.translating import translated


@click.command(epilog=RUN_HELP)
@run_argument
@click.option(
    "--to",
    "folder",
    type=click.Path(path_type=Path),
    default=None,
    help="Folder to write to; default: `export` in the run's results folder.",
)
@results_option
@translated
def export(run_id: str, folder: Path | None, results: Path) -> None:
    """Write a run's observations as CSV and Parquet."""
    from harness.cli.reading import opened_store
    from harness.records.export import export_run
    from harness.records.run_header import short_id

    with opened_store(results) as store:
        found = store.find_run(run_id)
        for path in export_run(store, found, folder or results / short_id(found) / "export"):
            click.echo(path)
