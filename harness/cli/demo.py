"""`tapproof demo`: the main job on a simulated bench with two planted faults."""

from __future__ import annotations

from pathlib import Path

import rich_click as click

from harness.cli.options import json_option, results_option
from harness.cli.translating import translated

# Fast enough for half a minute on a slow computer, slow enough that the computer's own time,
# which counts speed-fold, does not rule the ratio to the physical floor.
DEMO_SPEED = 3.0

PLANTED = (
    "This board was given two faults on purpose: cell 5 reads 12 mV high, and the pull-up of "
    "thermistor 2 is 12 % too large. FAIL is the right answer here."
)


@click.command()
@results_option
@json_option
@translated
def demo(results: Path, as_json: bool) -> None:
    """Measure a simulated board with two planted faults.

    The bench, the board "Heron" and its faults are invented: the house bank of a narrowboat,
    12 LFP cells in series, two thermistors. Only loopback is opened. The simulated instruments
    are reached through real sockets, the board through a pseudo-terminal.
    """
    from harness.cli.conducting import Presentation
    from harness.cli.demo_files import fixtures_folder
    from harness.cli.twin_run import run_on_twin
    from harness.descriptions.reading import read_setup
    from harness.simulator.faults import read_faults

    folder = fixtures_folder()
    setup = read_setup(
        folder / "benches" / "narrowboat-series.toml",
        folder / "boards" / "heron.toml",
        folder / "plans" / "acceptance.toml",
    )
    run_on_twin(
        setup,
        read_faults(folder / "faults" / "heron-two-faults.toml"),
        seed=7,
        speed=DEMO_SPEED,
        presentation=Presentation(results, as_json),
        serial_number="H-0007",
        remark=PLANTED,
    )
