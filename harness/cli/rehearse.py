"""`tapproof rehearse`: the user's own plan on the simulated twin of the user's own bench."""

from __future__ import annotations

from pathlib import Path

import rich_click as click

from harness.cli.options import (
    FILE,
    bench_option,
    board_option,
    json_option,
    plan_option,
    results_option,
)
from harness.cli.translating import translated


@click.command()
@bench_option
@board_option
@plan_option
@click.option("--faults", "faults_path", type=FILE, default=None, help="Faults to plant (TOML).")
@click.option(
    "--seed",
    type=click.IntRange(min=0),
    default=1,
    show_default=True,
    help="Of the twin's own errors.",
)
@click.option(
    "--speed",
    type=click.FloatRange(min=0.1, max=50),
    default=4.0,
    show_default=True,
    help="How much faster than real time the twin's clock runs.",
)
@click.option("--figures-only", is_flag=True, help="Print the figures and do not run the plan.")
@results_option
@json_option
@translated
def rehearse(
    bench_path: Path,
    board_path: Path,
    plan_path: Path,
    faults_path: Path | None,
    seed: int,
    speed: float,
    figures_only: bool,
    results: Path,
    as_json: bool,
) -> None:
    """Run a plan on the simulated twin of your own bench.

    Prints the highest voltage, current, power and stored energy that the plan asks for and how
    long it will take, then runs it. Nothing outside this computer is touched.
    """
    from harness.cli.conducting import Presentation
    from harness.cli.demands import demands_as_json, demands_lines
    from harness.cli.machine import print_json
    from harness.cli.twin_run import run_on_twin
    from harness.descriptions.reading import read_setup
    from harness.simulator.faults import read_faults

    setup = read_setup(bench_path, board_path, plan_path)
    faults = read_faults(faults_path) if faults_path else None
    figures = demands_as_json(setup)
    presentation = Presentation(results, as_json, {"demands": figures})
    for line in demands_lines(setup):
        presentation.console().print(line, markup=False)
    if not figures_only:
        run_on_twin(setup, faults, seed, speed, presentation, serial_number="rehearsal")
    if as_json:
        print_json({"demands": figures})
