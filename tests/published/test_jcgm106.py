"""Conformance probabilities and global risks.

JCGM 106:2012, 7.3, 7.4, 8.3.3 (conformance probabilities: from memory), 9.5 (ball bearings and
resistors: partly from memory). Tolerances from printed digits; the bearings carry the digits
to which they were worked out again.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from published_item import published
from scipy.special import ndtri

from harness.metrology.coverage import combined_distribution
from harness.metrology.risk import (
    conformance_probability,
    consumer_risk,
    gamma_density,
    gamma_upper_tail,
    nonconformance_probability,
    normal_density,
    producer_risk,
    upper_guard_band,
)

PC = published("jcgm106-pc")
BEARINGS = published("jcgm106-bearings")
RESISTORS = published("jcgm106-resistors")
INF = math.inf


def test_zener_diode_with_an_upper_limit() -> None:
    """7.3: breakdown voltage -5.47 V, u = 0.05 V, at most -5.40 V."""
    assert PC.agrees("p_c Zener", conformance_probability(-5.47, 0.05, upper=-5.40))


def test_container_with_a_lower_limit() -> None:
    """7.3: burst pressure 507 kPa, u = 6 kPa, at least 490 kPa."""
    assert PC.agrees("p_c container", conformance_probability(507, 6, lower=490))


def test_oil_with_two_limits() -> None:
    """7.4: viscosity 13.6 mm2/s, u = 1.8 mm2/s, 12.5 to 16.3 mm2/s."""
    assert PC.agrees("p_c viscosity", conformance_probability(13.6, 1.8, 12.5, 16.3))


def test_speed_beyond_which_a_driver_is_surely_too_fast() -> None:
    """8.3.3: with u = 2 % of the speed, 99.9 % sure to be above 100 km/h from 107 km/h on."""
    speed = 100 / (1 - 0.02 * float(ndtri(0.999)))
    assert PC.agrees("speed threshold", speed)
    too_fast = float(conformance_probability(speed, 0.02 * speed, lower=100))
    assert pytest.approx(0.999, abs=1e-12) == too_fast


@pytest.mark.parametrize("p", ["0.8", "0.9", "0.95", "0.99", "0.999"])
def test_table_1(p: str) -> None:
    """Table 1: how many u inside one limit gives a conformance probability p."""
    z = PC.expected[f"Table 1 z for p={p}"][0]
    assert float(p) == pytest.approx(float(conformance_probability(-z, 1.0, upper=0.0)), abs=2e-3)


def test_specific_risk_of_a_finding_is_the_two_sided_formula() -> None:
    """Our specific risk with a normal distribution equals 1 - p_c of 7.4."""
    normal = combined_distribution(np.array([1.8]), np.array([INF]), np.zeros((0, 1)))
    outside = nonconformance_probability([-0.8], 1.9, normal)
    assert 1 - float(conformance_probability(13.6, 1.8, 12.5, 16.3)) == pytest.approx(outside[0])


# Ball bearings ---------------------------------------------------------------------------

SHAPE = RATE = 4.0
PRIOR = gamma_density(SHAPE, RATE)
SUPPORT = (0.0, 15.0)
UPPER, U_M = BEARINGS.inputs["upper_tolerance_um"], BEARINGS.inputs["u_m_um"]
TOLERANCE = (-INF, UPPER)


def test_bearings_out_of_tolerance() -> None:
    assert BEARINGS.agrees("fraction out of tolerance", gamma_upper_tail(UPPER, SHAPE, RATE))


def test_bearings_consumer_risk() -> None:
    """Simple acceptance."""
    risk = consumer_risk(PRIOR, SUPPORT, TOLERANCE, TOLERANCE, U_M)
    assert BEARINGS.agrees("consumer's risk", risk)


def test_bearings_risk_at_the_guarded_limit() -> None:
    guarded = (-INF, BEARINGS.outputs["acceptance_limit_um"])
    risk = consumer_risk(PRIOR, SUPPORT, TOLERANCE, guarded, U_M)
    assert BEARINGS.agrees("risk at guarded limit (target 0.001)", risk)


def test_bearings_guard_band_for_a_target_risk() -> None:
    """w = 0.328 um keeps the consumer's risk at 0.1 %."""
    band = upper_guard_band(PRIOR, SUPPORT, UPPER, U_M, 0.001)
    assert BEARINGS.outputs["guard_band_um"] == pytest.approx(band, abs=1e-3)


def test_bearings_producer_risk() -> None:
    """Worked out again, not printed: 1.744 % without guard band."""
    risk = producer_risk(PRIOR, SUPPORT, TOLERANCE, TOLERANCE, U_M)
    assert pytest.approx(0.01744, abs=5e-6) == risk


# Resistors -------------------------------------------------------------------------------

T_OHMS, U0, UM = (RESISTORS.inputs[key] for key in ("T_ohm", "u0_ohm", "um_ohm"))
LIMITS = (-T_OHMS, T_OHMS)
RESISTOR_PRIOR = normal_density(0.0, U0)
RESISTOR_SUPPORT = (-12 * U0, 12 * U0)


def test_resistors_out_of_tolerance() -> None:
    out = 1 - float(conformance_probability(0.0, U0, *LIMITS))
    assert RESISTORS.agrees("fraction nonconforming (about 10 %)", out)


def test_resistors_global_risks() -> None:
    """Worked out again, not printed: 1.894 % and 3.721 %."""
    consumer = consumer_risk(RESISTOR_PRIOR, RESISTOR_SUPPORT, LIMITS, LIMITS, UM)
    producer = producer_risk(RESISTOR_PRIOR, RESISTOR_SUPPORT, LIMITS, LIMITS, UM)
    assert RESISTORS.outputs["consumer_risk_global_computed"] == pytest.approx(consumer, abs=5e-6)
    assert RESISTORS.outputs["producer_risk_global_computed"] == pytest.approx(producer, abs=5e-6)
