"""Printing what a plan asks of a bench."""

from __future__ import annotations

from harness.cli.conducting import Presentation
from harness.descriptions.setup import Setup
from harness.run.executor import plan_checks
from harness.run.rehearsal import demands

HAZARDOUS_VOLTS = 60.0


def print_demands(setup: Setup, presentation: Presentation) -> None:
    """Print highest voltage, current, power, stored energy, duration, and what is not run."""
    console = presentation.console()
    checks = plan_checks(setup)
    asked = demands(setup, [point for check in checks for point in check.points])
    lines = (
        f"highest cell voltage     {asked.cell_volts:.3f} V",
        f"highest stack voltage    {asked.stack_volts:.2f} V DC",
        f"current                  about {asked.expected_amperes * 1e3:.0f} mA expected, limit "
        f"{asked.limit_amperes * 1e3:.0f} mA a channel",
        f"highest power            {asked.power_watts:.2f} W (stack voltage x current limit)",
        f"stored energy            {asked.stored_joules:.3g} J in the supply's output "
        "capacitors, beyond the reach of any current limit",
        f"points                   {asked.points}",
        f"expected duration        {asked.floor_seconds:.0f} s is the physical floor",
    )
    console.print("What this plan asks of the bench:")
    for line in lines:
        console.print(f"  {line}", markup=False)
    if asked.stack_volts > HAZARDOUS_VOLTS:
        console.print("  MORE THAN 60 V DC: hazardous; enclosure and second person needed")
    for check in checks:
        if check.not_run:
            console.print(f"  {check.kind}: not run: {check.not_run}", markup=False)
