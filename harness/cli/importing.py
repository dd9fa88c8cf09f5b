"""`tapproof import FILE.csv`: observations measured elsewhere become a run of their own."""

from __future__ import annotations

import sys
from pathlib import Path

import rich_click as click

from harness.cli.options import (
    FILE,
    bench_option,
    board_option,
    json_option,
    operator_option,
    plan_option,
    results_option,
    serial_option,
)
from harness.cli.translating import translated


@click.command("import")
@click.argument("tables", type=FILE, nargs=-1, required=True, metavar="FILE.csv...")
@click.option(
    "--columns",
    "columns",
    type=FILE,
    multiple=True,
    help="What the columns of each file are (TOML); default: FILE.toml beside FILE.csv.",
)
@bench_option
@board_option
@plan_option
@serial_option
@operator_option
@results_option
@json_option
@translated
def import_(
    tables: tuple[Path, ...],
    columns: tuple[Path, ...],
    bench_path: Path,
    board_path: Path,
    plan_path: Path,
    serial_number: str,
    operator: str,
    results: Path,
    as_json: bool,
) -> None:
    """Take in observations that were measured elsewhere.

    They are judged like a run of their own. Each FILE.csv is a table of meter and board
    readings, one reading a row. The bench file says which meter gave the reference values,
    because its accuracy is in the budget.
    """
    from harness.cli.conducting import local_utc_offset_seconds, print_places, write_page
    from harness.cli.consoles import console_for_people
    from harness.cli.judged import present_judged
    from harness.cli.options import database_of
    from harness.descriptions.reading import read_setup
    from harness.errors import DescriptionError
    from harness.records.import_columns import read_import_columns
    from harness.records.importing import ImportTable, import_run
    from harness.records.store import Store
    from harness.run.rejudge import judge_kept_run
    from harness.timebase import RealClock

    if columns and len(columns) != len(tables):
        raise DescriptionError(
            f"--columns: expected one for each of {len(tables)} files, got {len(columns)}"
        )
    declared = columns or tuple(table.with_suffix(".toml") for table in tables)
    setup = read_setup(bench_path, board_path, plan_path)
    clock = RealClock()
    pairs = [
        ImportTable(table, read_import_columns(path))
        for table, path in zip(tables, declared, strict=True)
    ]
    with Store.open(database_of(results)) as store:
        run_id = import_run(
            store,
            setup,
            pairs,
            clock=clock,
            serial_number=serial_number,
            operator=operator,
            utc_offset_seconds=local_utc_offset_seconds(),
        )
        judged = judge_kept_run(store, run_id)
        store.add_judgement(run_id, judged.judgement, setup.plan, clock.wall())
        page = write_page(store, judged, results)
        code = present_judged(store, judged, as_json)
    print_places(console_for_people(stderr=as_json), judged, results, page)
    sys.exit(code)
