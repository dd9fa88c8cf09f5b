"""The values that readers are given, and the texts made of them."""

from __future__ import annotations

import subprocess
import sys

import pytest

from harness.records.run_header import Outcome, RunState, describe_point, local_time_text


@pytest.mark.parametrize(
    ("label", "text"),
    [
        (
            {"nominal_volts": 3.3, "direction": "up"},
            "noise point 3 (nominal_volts 3.3, direction up)",
        ),
        ({}, "noise point 3"),
    ],
)
def test_a_point_is_named_counting_from_one(label: dict[str, object], text: str) -> None:
    """People count from one, the records from zero."""
    assert text == describe_point("noise", 2, label)


def test_wall_times_are_told_with_their_offset() -> None:
    """Standard form, local time."""
    assert local_time_text(1_772_370_000.0, 3600) == "2026-03-01T14:00:00+01:00"


def test_every_outcome_is_a_state() -> None:
    """A run that says how it ended is in that state; only silence is `stopped`."""
    assert {o.value for o in Outcome} | {"stopped"} == {s.value for s in RunState}


def test_naming_these_values_loads_no_database() -> None:
    """The command line starts without SQLAlchemy."""
    code = (
        "import sys, harness.records.run_header\n"
        "sys.exit(any(name.split('.')[0] in ('sqlalchemy', 'alembic') for name in sys.modules))"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
