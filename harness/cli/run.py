"""`tapproof run`: the main job on real instruments and a real board."""

from __future__ import annotations

from pathlib import Path

import rich_click as click

from harness.cli.options import (
    bench_option,
    board_option,
    json_option,
    operator_option,
    plan_option,
    results_option,
    serial_option,
)
from harness.cli.translating import translated


@click.command()
@bench_option
@board_option
@plan_option
@serial_option
@operator_option
@results_option
@json_option
@translated
def run(
    bench_path: Path,
    board_path: Path,
    plan_path: Path,
    serial_number: str,
    operator: str,
    results: Path,
    as_json: bool,
) -> None:
    """Measure a board on a bench, judge it, keep the record.

    Outputs are switched off and measured off on every way out; when that cannot be proved the
    command says "switch off by hand" and ends with exit code 7. Keep hands off while outputs
    are on, and never begin with a live pack.
    """
    from harness.cli.conducting import Presentation, measure_and_present
    from harness.descriptions.reading import read_setup
    from harness.run.conduct import RunIdentity
    from harness.timebase import RealClock

    setup = read_setup(bench_path, board_path, plan_path)
    identity = RunIdentity(serial_number=serial_number, operator=operator)
    measure_and_present(setup, RealClock(), identity, Presentation(results, as_json))
