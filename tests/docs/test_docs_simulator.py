"""docs/simulator.md tells every key of a file of planted faults as the types declare it."""

from __future__ import annotations

from pathlib import Path

import pytest
from described_fields import described_below, rows_of
from pages import page, section, snippets, table_rows

from harness.cli.demo import DEMO_SPEED
from harness.simulator import faults

PAGE = page("simulator.md")

SECTIONS: dict[str, type] = {
    "Top level": faults.Faults,
    "`[spread]`": faults.Spread,
    "`[[cell]]`": faults.CellFault,
    "`[[channel]]`": faults.ChannelFault,
    "`[stack]`": faults.StackFault,
    "`[[crosstalk]]`": faults.Crosstalk,
    "`[[tap]]`": faults.TapFault,
    "`[[leakage]]`": faults.Leakage,
    "`[[bleed]]`": faults.Bleed,
    "`[[thermistor]]`": faults.ThermistorFault,
    "`[link]`": faults.LinkFault,
    "`[instrument.NAME]`": faults.InstrumentFault,
}


def test_every_kind_of_fault_has_a_section() -> None:
    """A table that a file of faults can hold has a heading."""
    assert described_below(faults.Faults) == set(SECTIONS.values())


@pytest.mark.parametrize("heading", SECTIONS)
def test_table_of_keys(heading: str) -> None:
    """Keys, what they may be, and defaults are the type's own, in its order; each has a meaning."""
    rows = table_rows(section(PAGE, heading))
    expected = [(f"`{row.name}`", row.words, row.default) for row in rows_of(SECTIONS[heading])]
    assert expected == [tuple(row[:3]) for row in rows]
    assert all(len(row) == 4 and row[3] for row in rows)


def test_example_parses(tmp_path: Path) -> None:
    """The example is a file of faults without faults."""
    (example,) = snippets(PAGE)
    file = tmp_path / "faults.toml"
    file.write_text(example.text, encoding="utf-8")
    assert faults.read_faults(file).cell[0].cell == 7


def test_speed_of_the_demo() -> None:
    """The page tells the demo's speed."""
    assert f"speed {DEMO_SPEED:g}." in section(PAGE, "Seeds")
