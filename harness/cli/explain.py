"""`tapproof explain RUN CHANNEL POINT`: the whole budget behind one number."""

from __future__ import annotations

from pathlib import Path

import rich_click as click

from harness.cli.options import FILE, RUN_HELP, results_option, run_argument
from harness.cli.translating import translated


@click.command(epilog=RUN_HELP)
@run_argument
@click.argument("channel")
@click.argument("point", nargs=-1, required=True)
@click.option("--check", "check", default=None, help="Only this check, by its name in the plan.")
@click.option("--plan", "plan_path", type=FILE, default=None, help="Judge by this plan instead.")
@results_option
@translated
def explain(
    run_id: str,
    channel: str,
    point: tuple[str, ...],
    check: str | None,
    plan_path: Path | None,
    results: Path,
) -> None:
    """Print the uncertainty budget behind one number.

    CHANNEL is a cell number, or words such as `cell 5`, `thermistor 2`, `stack`. POINT is as
    the report writes it, for instance `3.350 V up`, or its place in the check, for instance 5.
    The largest contribution comes first, with what would reduce it.
    """
    from harness.cli.consoles import console_for_people
    from harness.cli.finding_choice import chosen_findings
    from harness.cli.reading import judged_run, opened_store
    from harness.report.terminal import budget

    with opened_store(results) as store:
        judged = judged_run(store, run_id, plan_path)
    console = console_for_people()
    for number, placed in enumerate(
        chosen_findings(judged.judgement, channel, " ".join(point), check)
    ):
        if number:
            console.print()
        console.print(f"{placed.findings.check}:")
        console.print(budget(placed))
