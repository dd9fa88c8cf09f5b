"""Saying what a plan asks of a bench: in lines for people, as values for machines."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

from harness.descriptions.bench import HAZARDOUS_VOLTS
from harness.descriptions.setup import Setup
from harness.run.executor import PlannedCheck, plan_checks
from harness.run.rehearsal import Demands, demands


def demands_as_json(setup: Setup) -> dict[str, object]:
    """The figures in SI units, and each check's points or why it is not run."""
    checks = plan_checks(setup)
    return {
        **dataclasses.asdict(_demands(setup, checks)),
        "checks": [
            {"check": c.kind, "points": len(c.points), "not_run": c.not_run} for c in checks
        ],
    }


def demands_lines(setup: Setup) -> list[str]:
    """Highest voltage, current, power, stored energy, duration, and what is not run."""
    checks = plan_checks(setup)
    asked = _demands(setup, checks)
    lines = [
        "What this plan asks of the bench:",
        f"  highest cell voltage   {asked.cell_volts:.3f} V",
        f"  highest stack voltage  {asked.stack_volts:.2f} V DC",
        f"  current                about {asked.expected_amperes * 1e3:.0f} mA, limited to "
        f"{asked.limit_amperes * 1e3:.0f} mA a channel",
        f"  highest power          {asked.power_watts:.2f} W (stack voltage x current limit)",
        f"  stored energy          {asked.stored_joules * 1e3:.3g} mJ in the supply's output "
        "capacitors,",
        "                         which no current limit holds back",
        f"  points                 {asked.points}",
        f"  duration               about {asked.expected_seconds:.0f} s (physical floor "
        f"{asked.floor_seconds:.0f} s)",
    ]
    if asked.stack_volts > HAZARDOUS_VOLTS:
        lines.append("  MORE THAN 60 V DC: hazardous; enclosure and second person needed")
    lines += [f"  {note}" for note in asked.effort_notes]
    return lines + [
        f"  {check.kind}: not run: {check.not_run}" for check in checks if check.not_run
    ]


def _demands(setup: Setup, checks: Sequence[PlannedCheck]) -> Demands:
    return demands(setup, [point for check in checks for point in check.points])
