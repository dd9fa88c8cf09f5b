"""`tapproof runs`: the list of kept runs."""

from __future__ import annotations

from pathlib import Path

import rich_click as click

from harness.cli.options import json_option, results_option
from harness.cli.translating import translated


@click.command()
@results_option
@json_option
@translated
def runs(results: Path, as_json: bool) -> None:
    """List the runs that are kept."""
    from harness.cli.consoles import console_for_people
    from harness.cli.machine import print_json
    from harness.cli.reading import opened_store
    from harness.cli.runs_table import runs_as_json, runs_for_people

    with opened_store(results) as store:
        kept = store.runs()
    if as_json:
        print_json(runs_as_json(kept))
    elif kept:
        console_for_people().print(runs_for_people(kept))
    else:
        click.echo("no runs are kept here yet; `tapproof demo` makes one")
