"""Thermistor curves: round trips, sensitivities, and what they refuse."""

from __future__ import annotations

import numpy as np
import pytest

from harness.errors import MisuseError
from harness.metrology.thermistor import Beta, Curve, FourTerm, SteinhartHart, Table

CELSIUS = np.linspace(-40.0, 125.0, 67)
BETA = Beta(10_000.0, 3435.0)
TABLE = Table(tuple(CELSIUS.tolist()), tuple(BETA.resistance(CELSIUS).tolist()))
STEINHART = SteinhartHart(1.129e-3, 2.341e-4, 8.775e-8)
CURVES = [
    pytest.param(BETA, id="beta"),
    pytest.param(TABLE, id="table"),
    pytest.param(STEINHART, id="steinhart-hart"),
    pytest.param(SteinhartHart(1.129e-3, 2.341e-4, 0.0), id="without cubic term"),
    pytest.param(SteinhartHart(1.129e-3, 2.341e-4, -4e-8), id="negative cubic term"),
    pytest.param(SteinhartHart(1.129e-3, 2.341e-4, 1e-16), id="tiny cubic term"),
]


@pytest.mark.parametrize("curve", CURVES)
def test_there_and_back(curve: Curve) -> None:
    """Temperature of the resistance of a temperature is the temperature."""
    assert CELSIUS == pytest.approx(curve.temperature(curve.resistance(CELSIUS)), abs=1e-8)


@pytest.mark.parametrize("curve", CURVES)
def test_resistance_falls_with_temperature(curve: Curve) -> None:
    assert (np.diff(curve.resistance(CELSIUS)) < 0).all()


@pytest.mark.parametrize("curve", CURVES)
def test_sensitivity_is_the_derivative(curve: Curve) -> None:
    """Against a central difference, inside a table's segment."""
    ohms = curve.resistance(CELSIUS[1:-1] + 0.7)
    step = 1e-5 * ohms
    slope = (curve.temperature(ohms + step) - curve.temperature(ohms - step)) / (2 * step)
    assert slope == pytest.approx(curve.sensitivity(ohms), rel=1e-5)


@pytest.mark.parametrize("curve", CURVES)
def test_what_is_no_resistance_has_no_temperature(curve: Curve) -> None:
    """Zero, negative, infinite and missing resistance give NaN without a warning."""
    ohms = np.array([0.0, -1.0, np.inf, np.nan])
    assert np.isnan(curve.temperature(ohms)).all()
    assert np.isnan(curve.sensitivity(ohms)).all()


@pytest.mark.parametrize("curve", CURVES)
def test_absolute_zero_has_no_resistance(curve: Curve) -> None:
    assert np.isnan(curve.resistance(np.array([-273.15, -300.0, np.nan]))).all()


def test_table_does_not_extrapolate() -> None:
    """Beyond its ends there is no answer, in either direction."""
    assert np.isnan(TABLE.resistance(np.array([-40.1, 125.1]))).all()
    ends = np.array([TABLE.ohms[0] * 1.001, TABLE.ohms[-1] * 0.999])
    assert np.isnan(TABLE.temperature(ends)).all()


def test_table_is_exact_at_its_entries() -> None:
    assert np.array(TABLE.ohms) == pytest.approx(TABLE.resistance(CELSIUS), rel=1e-12)


def test_one_percent_at_room_temperature() -> None:
    """dT = -(T^2/beta) dR/R: 1 % of R is 0.26 K at 25 degrees with beta 3435."""
    assert pytest.approx(-0.2588, abs=1e-4) == float(BETA.sensitivity(10_000.0)) * 100.0


def test_steinhart_hart_beyond_its_turning_point_is_undefined() -> None:
    """With c < 0 the curve has a coldest point; below it there is no resistance."""
    curve = SteinhartHart(1.129e-3, 2.341e-4, -4e-7)
    assert np.isnan(curve.resistance(-150.0))


def test_scalars_are_taken() -> None:
    assert 25.0 == pytest.approx(float(BETA.temperature(10_000.0)))


def test_four_term_sensitivity_is_the_derivative() -> None:
    curve = FourTerm(
        1e4,
        (-14.195756, 4407.4785, -5165.873, -14017368.0),
        (0.0033539438, 0.00025646095, 2.5158166e-06, 1.0503069e-07),
    )
    slope = (curve.temperature(5001.0) - curve.temperature(4999.0)) / 2
    assert float(slope) == pytest.approx(float(curve.sensitivity(5000.0)), rel=1e-5)


@pytest.mark.parametrize(
    ("make", "text"),
    [
        (lambda: SteinhartHart(1e-3, 0.0, 1e-7), "Steinhart-Hart b: expected a number above 0"),
        (lambda: Beta(0.0, 3435.0), "beta curve reference_ohms: expected a number above 0"),
        (lambda: Beta(1e4, -1.0), "beta curve beta_kelvin: expected a number above 0"),
        (lambda: Table((0.0,), (1.0,)), "expected two or more temperatures"),
        (lambda: Table((0.0, 1.0), (1.0,)), "as many resistances, got 2 and 1"),
        (lambda: Table((1.0, 0.0), (2.0, 1.0)), "expected temperatures rising"),
        (lambda: Table((0.0, 1.0), (1.0, 2.0)), "expected resistances falling"),
        (lambda: Table((0.0, 1.0), (1.0, 0.0)), "expected resistances falling and above 0"),
    ],
)
def test_misuse_is_told(make, text: str) -> None:
    with pytest.raises(MisuseError, match=text):
        make()
