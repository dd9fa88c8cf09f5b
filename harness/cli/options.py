"""Options that several commands share, each declared once."""

from __future__ import annotations

from pathlib import Path

import rich_click as click

# Where records and reports go when nobody says otherwise.
RESULTS = Path("results")

FILE = click.Path(path_type=Path, dir_okay=True)

bench_option = click.option(
    "--bench", "bench_path", type=FILE, required=True, help="Bench description (TOML)."
)
board_option = click.option(
    "--board", "board_path", type=FILE, required=True, help="Board description (TOML)."
)
plan_option = click.option(
    "--plan", "plan_path", type=FILE, required=True, help="Plan description (TOML)."
)
results_option = click.option(
    "--results",
    "results",
    type=click.Path(path_type=Path),
    default=RESULTS,
    show_default=True,
    help="Folder of the records and reports.",
)
json_option = click.option(
    "--json", "as_json", is_flag=True, help="Print one JSON object for machines."
)
operator_option = click.option(
    "--operator", default="", help="Who runs it, as the record should name them."
)
serial_option = click.option(
    "--serial-number", default="", help="The board's serial number, as on its label."
)
run_argument = click.argument("run_id", metavar="RUN")

RUN_HELP = "RUN is the start of a run's id, or `latest`."


def database_of(results: Path) -> Path:
    """The record database in a results folder."""
    return results / "records.sqlite"
