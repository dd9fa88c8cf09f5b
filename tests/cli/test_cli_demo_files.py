"""The demonstration finds its descriptions, in a checkout or installed."""

from __future__ import annotations

from pathlib import Path

import pytest

from harness.cli import demo_files
from harness.cli.demo_files import fixtures_folder
from harness.errors import MisuseError


def test_a_checkout_has_them() -> None:
    assert (fixtures_folder() / "faults" / "heron-two-faults.toml").is_file()


@pytest.fixture
def elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A package that is not in a checkout; returns the installation's data folder."""
    module = tmp_path / "site-packages" / "harness" / "cli" / "demo_files.py"
    monkeypatch.setattr(demo_files, "__file__", str(module))
    data = tmp_path / "data"
    monkeypatch.setattr(demo_files.sysconfig, "get_path", lambda name: str(data))
    return data


def test_an_installation_has_them_beside_it(elsewhere: Path) -> None:
    folder = elsewhere / "share" / "tapproof" / "fixtures"
    (folder / "benches").mkdir(parents=True)
    (folder / "benches" / "narrowboat-series.toml").touch()
    assert folder == fixtures_folder()


def test_without_them_it_says_what_to_do(elsewhere: Path) -> None:
    with pytest.raises(MisuseError, match="got neither; install tapproof again"):
        fixtures_folder()


def test_everything_that_the_demonstration_reads_is_installed() -> None:
    """Each folder of fixtures that `demo` reads from is in the distribution's data files."""
    import tomllib

    root = Path(demo_files.__file__).resolve().parents[2]
    project = tomllib.loads((root / "pyproject.toml").read_text(encoding="utf-8"))
    installed = set(project["tool"]["setuptools"]["data-files"])
    for name in ("benches", "boards", "plans", "faults", "curves"):
        assert f"share/tapproof/fixtures/{name}" in installed
