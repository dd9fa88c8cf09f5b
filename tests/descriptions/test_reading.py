"""Reading: files alone and together, names of the library, one look at each file."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from harness.descriptions.faults import DescriptionFaults
from harness.descriptions.instrument import MeterModel, SupplyModel
from harness.descriptions.reading import (
    library_names,
    read_bench,
    read_board,
    read_curve,
    read_instrument_model,
    read_plan,
    read_setup,
)

GOOD = Path(__file__).parent / "good"


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of the good files to change, and the working directory."""
    shutil.copytree(GOOD, tmp_path, dirs_exist_ok=True)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_each_kind_is_read_alone() -> None:
    """A name from each shows that the right type came back."""
    assert "Test bench" == read_bench(GOOD / "bench.toml").name
    assert "Heron" == read_board(str(GOOD / "board.toml")).name
    assert "Test plan" == read_plan(GOOD / "plan.toml").name
    assert "Test curve" == read_curve(GOOD / "curve.toml").name
    assert "Test meter" == read_instrument_model(GOOD / "meter.toml").name


def test_setup_has_models_by_instrument_and_curves_by_thermistor() -> None:
    """What the files name is resolved."""
    setup = read_setup(GOOD / "bench.toml", GOOD / "board.toml", GOOD / "plan.toml")
    assert ["decade", "meter", "relays", "supply"] == sorted(setup.models)
    assert isinstance(setup.models["supply"], SupplyModel)
    assert ["Test curve", "Test curve"] == [curve.name for curve in setup.curves]


def test_curves_keep_the_boards_order(folder: Path) -> None:
    """Curve k belongs to thermistor k."""
    text = (folder / "board.toml").read_text("utf-8")
    changed = text.replace('"curve.toml"', '"curve-table.toml"', 1)
    (folder / "board.toml").write_text(changed, "utf-8")
    setup = read_setup("bench.toml", "board.toml", "plan.toml")
    assert ["Test table", "Test curve"] == [curve.name for curve in setup.curves]


def test_a_bare_name_is_the_librarys(folder: Path) -> None:
    """Generic models need no copy beside the bench."""
    text = (folder / "bench.toml").read_text("utf-8")
    changed = text.replace('"meter.toml"', '"generic-meter-6digit"')
    (folder / "bench.toml").write_text(changed, "utf-8")
    model = read_setup("bench.toml", "board.toml", "plan.toml").models["meter"]
    assert isinstance(model, MeterModel)
    assert "Generic 6 1/2-digit multimeter" == model.name


def test_files_are_named_from_the_folder_of_the_file_that_names_them(folder: Path) -> None:
    """Not from the working directory."""
    (folder / "elsewhere").mkdir()
    shutil.move(folder / "curve.toml", folder / "elsewhere" / "curve.toml")
    (folder / "boards").mkdir()
    text = (folder / "board.toml").read_text("utf-8")
    changed = text.replace('"curve.toml"', '"../elsewhere/curve.toml"')
    (folder / "boards" / "board.toml").write_text(changed, "utf-8")
    setup = read_setup("bench.toml", "boards/board.toml", "plan.toml")
    assert "Test curve" == setup.curves[0].name


def test_library_is_named() -> None:
    """All generic models and curves that the package carries."""
    assert [
        "generic-decade",
        "generic-meter-5digit",
        "generic-meter-6digit",
        "generic-supply-12ch",
        "generic-supply-1ch",
        "generic-switch-64",
        "ntc-10k-beta",
        "ntc-10k-steinhart",
        "ntc-10k-table",
    ] == library_names()


def test_a_file_named_twice_is_faulted_once(folder: Path) -> None:
    """Two thermistors with one bad curve give one fault."""
    (folder / "curve.toml").write_text("name = 3\n", "utf-8")
    with pytest.raises(DescriptionFaults) as caught:
        read_setup("bench.toml", "board.toml", "plan.toml")
    assert ["curve.toml"] * 2 == [fault.file for fault in caught.value.faults]


def test_three_missing_files_are_three_faults(tmp_path: Path) -> None:
    """None is told only after another has been mended."""
    paths = [tmp_path / f"{name}.toml" for name in ("bench", "board", "plan")]
    with pytest.raises(DescriptionFaults) as caught:
        read_setup(*paths)
    assert [str(path) for path in paths] == [fault.file for fault in caught.value.faults]


def test_faults_carry_their_place_as_attributes(folder: Path) -> None:
    """Machines need not parse the message."""
    text = (folder / "plan.toml").read_text("utf-8")
    (folder / "plan.toml").write_text(text.replace("frames = 5", "frames = 1"), "utf-8")
    with pytest.raises(DescriptionFaults) as caught:
        read_setup("bench.toml", "board.toml", "plan.toml")
    (fault,) = caught.value.faults
    assert ("plan.toml", 8, "effort.frames", "1") == (
        fault.file,
        fault.line,
        fault.path,
        fault.got,
    )
