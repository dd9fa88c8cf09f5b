"""Described curves become the science's curves, with the numbers as written."""

from __future__ import annotations

from pathlib import Path

import pytest

from harness.descriptions.curve_values import curve_value
from harness.descriptions.reading import read_curve
from harness.metrology.thermistor import Beta, SteinhartHart, Table

GOOD = Path(__file__).parent / "good"


def test_beta_form() -> None:
    """The reference temperature left out is 25 degC."""
    assert Beta(10000.0, 3977.0, 25.0) == curve_value(read_curve(GOOD / "curve.toml"))


def test_steinhart_hart_form() -> None:
    """Three coefficients, in the file's order."""
    expected = SteinhartHart(1.077915e-03, 2.451457e-04, 2.332730e-08)
    assert expected == curve_value(read_curve(GOOD / "curve-steinhart.toml"))


def test_table_form() -> None:
    """Both columns."""
    expected = Table((-20.0, 0.0, 25.0, 60.0, 85.0), (97000.0, 32000.0, 10000.0, 2500.0, 1070.0))
    assert expected == curve_value(read_curve(GOOD / "curve-table.toml"))


@pytest.mark.parametrize("name", ["curve", "curve-steinhart", "curve-table"])
def test_every_form_gives_ten_kilohm_at_25_celsius(name: str) -> None:
    """The good files describe 10 kilohm parts, to a tenth of a percent."""
    ohms = float(curve_value(read_curve(GOOD / f"{name}.toml")).resistance(25.0))
    assert 10000.0 == pytest.approx(ohms, rel=1e-3)
