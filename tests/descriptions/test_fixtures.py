"""The fixtures are good: each reads alone, and all that are used together fit."""

from __future__ import annotations

from pathlib import Path

import pytest

from harness.descriptions.faults import DescriptionFaults
from harness.descriptions.reading import (
    LIBRARY,
    read_bench,
    read_board,
    read_curve,
    read_instrument_model,
    read_plan,
    read_setup,
)
from harness.descriptions.setup import setup_from_json, setup_to_json

FIXTURES = Path(__file__).parents[2] / "fixtures"
READERS = {
    "benches": read_bench,
    "boards": read_board,
    "plans": read_plan,
    "curves": read_curve,
}
FILES = [path for folder in READERS for path in sorted((FIXTURES / folder).glob("*.toml"))]
BENCHES = ["narrowboat-series", "narrowboat-ladder", "narrowboat-ladder-shunts"]
BOARDS = ["heron", "heron-key-value", "heron-json", "heron-binary"]
PLANS = ["acceptance", "screen", "quick"]


@pytest.mark.parametrize("path", FILES, ids=lambda path: f"{path.parent.name}/{path.stem}")
def test_fixture_is_read(path: Path) -> None:
    """No fault in the file itself."""
    READERS[path.parent.name](path)


@pytest.mark.parametrize("path", sorted(LIBRARY.glob("*.toml")), ids=lambda path: path.stem)
def test_library_file_is_read(path: Path) -> None:
    """No fault in what the package carries."""
    (read_curve if path.stem.startswith("ntc") else read_instrument_model)(path)


@pytest.mark.parametrize("plan", PLANS)
@pytest.mark.parametrize("board", BOARDS)
@pytest.mark.parametrize("bench", BENCHES)
def test_fixtures_fit_together(bench: str, board: str, plan: str) -> None:
    """Every bench can be given every 12-cell board and every plan, and be kept in a record."""
    setup = read_setup(
        FIXTURES / "benches" / f"{bench}.toml",
        FIXTURES / "boards" / f"{board}.toml",
        FIXTURES / "plans" / f"{plan}.toml",
    )
    assert setup == setup_from_json(setup_to_json(setup))


@pytest.mark.parametrize("bench", BENCHES)
def test_board_of_eleven_cells_is_refused(bench: str) -> None:
    """The mismatch is told at the bench's wiring."""
    with pytest.raises(DescriptionFaults) as caught:
        read_setup(
            FIXTURES / "benches" / f"{bench}.toml",
            FIXTURES / "boards" / "heron-11-cells.toml",
            FIXTURES / "plans" / "acceptance.toml",
        )
    (fault,) = caught.value.faults
    assert ("wiring.cells", "the 11 cells of board Heron 11", "12") == (
        fault.path,
        fault.expected,
        fault.got,
    )


@pytest.mark.parametrize("path", sorted((FIXTURES / "curves").glob("*.toml")), ids=str)
def test_curve_fixture_is_the_librarys(path: Path) -> None:
    """The copy to change and the one found by name do not drift apart."""
    assert (LIBRARY / path.name).read_text("utf-8") == path.read_text("utf-8")


def test_identities_are_what_a_twin_of_the_model_answers() -> None:
    """The pattern is the model's file name, which a twin puts in its answer to *IDN?."""
    for path in LIBRARY.glob("generic-*.toml"):
        assert path.stem == read_instrument_model(path).identity
