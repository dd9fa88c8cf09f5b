"""Fault files: all shipped ones can be read, wrong ones are refused with their place."""

from __future__ import annotations

from pathlib import Path

import pytest
from simulated_benches import FIXTURES

from harness.descriptions.setup import Setup
from harness.errors import DescriptionError
from harness.simulator.faults import (
    Bleed,
    Faults,
    InstrumentFault,
    check_faults,
    faults_from_json,
    faults_to_json,
    read_faults,
)

FILES = sorted((FIXTURES / "faults").glob("*.toml"))


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_shipped_files_fit_the_shipped_bench(path: Path, series_setup: Setup) -> None:
    """Every planted fault has its place on the series bench, and survives JSON."""
    faults = read_faults(path)
    check_faults(faults, series_setup)
    assert faults == faults_from_json(faults_to_json(faults))


def test_all_faults_of_a_file_come_at_once(tmp_path: Path) -> None:
    """Two mistakes, two lines, the nearest known key offered."""
    path = tmp_path / "bad.toml"
    path.write_text("[[cell]]\ncell = 5\nofset_volts = 0.01\n\n[link]\ndropped_share = 2.0\n")
    with pytest.raises(DescriptionError) as caught:
        read_faults(path)
    lines = str(caught.value).splitlines()
    assert len(lines) == 2
    assert f"{path}:3: cell[0].ofset_volts" in lines[0]
    assert 'did you mean "offset_volts"?' in lines[0]
    assert f"{path}:6: link.dropped_share" in lines[1]


@pytest.mark.parametrize(
    ("faults", "text"),
    [
        pytest.param(
            Faults(bleed=(Bleed(cell=13),)),
            "planted faults: bleed.cell: expected at most 12, got 13",
            id="cell",
        ),
        pytest.param(
            Faults(instrument={"scope": InstrumentFault()}),
            "planted faults: instrument: expected one of supply, meter, decade, relays, "
            'got "scope"',
            id="instrument",
        ),
    ],
)
def test_faults_without_a_place_are_refused(faults: Faults, text: str, series_setup: Setup) -> None:
    """A fault on what the bench has not got is a mistake, not silently nothing."""
    with pytest.raises(DescriptionError) as caught:
        check_faults(faults, series_setup)
    assert text == str(caught.value)
