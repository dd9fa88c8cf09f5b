"""Resistance and reactance measured at the same time: correlated inputs and outputs.

JCGM 100:2008, H.2 (tables H.2 to H.4). Confidence: read in a public copy. Raw data are used:
the rounded means, uncertainties and correlations do not give the printed third digit.
"""

from __future__ import annotations

import numpy as np
import pytest
from published_item import published

from harness.metrology.propagation import (
    correlation,
    covariance_of_means,
    propagate,
    sensitivities,
)

GUM = published("gum-h2")
READINGS = np.array([GUM.inputs[key] for key in ("V_volt", "I_ampere", "phi_rad")])
MEANS, COVARIANCE = covariance_of_means(READINGS)


def impedance(x: np.ndarray) -> np.ndarray:
    volts, amperes, radians = x
    z = volts / amperes
    return np.array([z * np.cos(radians), z * np.sin(radians), z])


OUTPUTS = impedance(MEANS)
OUTPUT_COVARIANCE = propagate(
    sensitivities(impedance, MEANS, np.sqrt(np.diag(COVARIANCE))), COVARIANCE
)


@pytest.mark.parametrize(("i", "name"), list(enumerate(["V", "I", "phi"])))
def test_standard_uncertainty_of_input(i: int, name: str) -> None:
    assert GUM.agrees(f"u({name})", np.sqrt(COVARIANCE[i, i]))


@pytest.mark.parametrize(("i", "j", "pair"), [(0, 1, "V,I"), (0, 2, "V,phi"), (1, 2, "I,phi")])
def test_correlation_of_inputs(i: int, j: int, pair: str) -> None:
    assert GUM.agrees(f"r({pair})", correlation(COVARIANCE)[i, j])


@pytest.mark.parametrize(("i", "name"), list(enumerate(["R", "X", "Z"])))
def test_estimate_of_output(i: int, name: str) -> None:
    assert GUM.agrees(name, OUTPUTS[i])


@pytest.mark.parametrize(
    ("i", "quantity"),
    list(enumerate(["u(R)", "u(X) (GUM prints 0.295; raw data give 0.2956)", "u(Z)"])),
)
def test_standard_uncertainty_of_output(i: int, quantity: str) -> None:
    assert GUM.agrees(quantity, np.sqrt(OUTPUT_COVARIANCE[i, i]))


@pytest.mark.parametrize(("i", "j", "pair"), [(0, 1, "R,X"), (0, 2, "R,Z"), (1, 2, "X,Z")])
def test_correlation_of_outputs(i: int, j: int, pair: str) -> None:
    assert GUM.agrees(f"r({pair})", correlation(OUTPUT_COVARIANCE)[i, j])
