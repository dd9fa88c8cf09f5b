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
    from rich.table import Table

    from harness.cli.consoles import console_for_people
    from harness.cli.machine import print_json
    from harness.cli.reading import opened_store
    from harness.records.run_header import RunState, RunSummary, local_time_text

    with opened_store(results) as store:
        kept = store.runs()

    def verdict(run: RunSummary) -> str:
        return run.verdict.value if run.verdict else "not judged"

    if as_json:
        rows = [
            {
                "run": run.id,
                "started": local_time_text(run.started_wall, run.utc_offset_seconds),
                "kind": run.kind.value,
                "serial_number": run.serial_number,
                "board": run.board_name,
                "plan": run.plan_name,
                "state": run.state.value,
                "verdict": run.verdict.value if run.verdict else None,
                "points": run.points,
                "last_point": run.last_point,
            }
            for run in kept
        ]
        print_json({"runs": rows})
        return
    if not kept:
        click.echo("no runs are kept here yet; `tapproof demo` makes one")
        return
    table = Table(box=None, pad_edge=False)
    for heading in ("run", "started", "kind", "serial", "board", "plan", "ended", "verdict"):
        table.add_column(heading, overflow="fold")
    for run in kept:
        ended = run.state.value
        if run.state is not RunState.FINISHED:
            ended += f" after {run.last_point or 'no point'}"
        table.add_row(
            run.short_id,
            local_time_text(run.started_wall, run.utc_offset_seconds)[:16].replace("T", " "),
            run.kind.value,
            run.serial_number,
            run.board_name,
            run.plan_name,
            ended,
            verdict(run),
        )
    console_for_people().print(table)
