"""Thermistor curves of three written forms.

A maker's curve guide (rev. C, 2014, material type 1; read in a public copy), a beta-equation
table of a public source tree (read in a public copy, truncated to whole ohms), Steinhart-Hart
coefficients of a 3 kohm thermistor (read in a public copy).
"""

from __future__ import annotations

import numpy as np
import pytest
from published_item import published

from harness.metrology.thermistor import Beta, FourTerm, SteinhartHart, Table, beta_between

MATERIAL = published("ntc-material1")
BETA = published("ntc-beta-3974")
STEINHART = published("steinhart-hart-3k")

CELSIUS = np.array(MATERIAL.outputs["temperature_C"], dtype=float)
RATIO = np.array(MATERIAL.outputs["R_over_R25"])
FOUR_TERM = FourTerm(
    1.0,
    tuple(MATERIAL.inputs[key] for key in "ABCD"),
    tuple(MATERIAL.inputs[key] for key in "abcd"),
)


def test_four_term_resistance() -> None:
    """Every entry of the ratio table within 0.25 %."""
    assert FOUR_TERM.resistance(CELSIUS) == pytest.approx(RATIO, rel=0.0025)


def test_four_term_temperature() -> None:
    """Every entry of the ratio table within 0.05 K."""
    assert FOUR_TERM.temperature(RATIO) == pytest.approx(CELSIUS, abs=0.05)


@pytest.mark.parametrize("pair", ["0/50", "25/50", "25/85", "25/100", "25/125"])
def test_beta_between_table_points(pair: str) -> None:
    """Betas of the table within 3 K (four printed digits of the ratio)."""
    low, high = (float(t) for t in pair.split("/"))
    r = FOUR_TERM.resistance([low, high])
    assert MATERIAL.agrees(f"beta {pair}", beta_between(low, r[0], high, r[1]))


@pytest.mark.parametrize("celsius", [-40, 0, 25, 50, 85, 125])
def test_alpha(celsius: int) -> None:
    """Temperature coefficient in percent per kelvin, half the last printed digit and a bit."""
    printed = MATERIAL.outputs["alpha_percent_per_C"][str(celsius)]
    ohms = FOUR_TERM.resistance(float(celsius))
    alpha = 100 / (ohms * FOUR_TERM.sensitivity(ohms))
    assert printed == pytest.approx(float(alpha), abs=0.06)


def test_table_between_its_entries() -> None:
    """Interpolation in ln R against 1/T, every second entry left out: within 0.1 K."""
    table = Table(tuple(CELSIUS[1::2]), tuple(RATIO[1::2]))
    inside = slice(2, -1, 2)
    assert table.temperature(RATIO[inside]) == pytest.approx(CELSIUS[inside], abs=0.1)


def test_single_beta_is_off_by_degrees_in_the_cold() -> None:
    """Beta 3977 from 25 degrees reads the -40 degree resistance about 3 K wrong."""
    error = float(Beta(1.0, 3977.0).temperature(33.36)) - -40.0
    assert pytest.approx(2.9, abs=0.1) == error


@pytest.mark.parametrize(("celsius", "ohms"), BETA.outputs["T_C_and_R_ohm"])
def test_beta_equation(celsius: float, ohms: float) -> None:
    curve = Beta(BETA.inputs["R25_ohm"], BETA.inputs["beta_K"])
    assert BETA.agrees(f"R({celsius})", curve.resistance(celsius))
    assert celsius == pytest.approx(float(curve.temperature(ohms)), abs=0.08)


@pytest.mark.parametrize("celsius", [-10, 0, 10, 20, 30])
def test_steinhart_hart_both_ways(celsius: int) -> None:
    """The closed-form inverse, and the equation itself."""
    curve = SteinhartHart(*(STEINHART.inputs[key] for key in "ABC"))
    ohms = STEINHART.outputs["R_ohm_at_C"][str(celsius)]
    assert STEINHART.agrees(f"R({celsius})", curve.resistance(celsius))
    assert STEINHART.agrees(f"T from R({celsius})", curve.temperature(ohms))
