"""Mean, standard deviation and lag-1 autocorrelation with certified values.

NIST StRD, univariate summary statistics: NumAcc1 to NumAcc4 and Michelso. Confidence: read in a
public copy. Tolerances: certified to 15 digits; NumAcc3 and 4 less, since 1e7 + 0.1 is not a
binary number.
"""

from __future__ import annotations

import numpy as np
import pytest
from published_item import Published, published

from harness.metrology.repeatability import (
    experimental_standard_deviation,
    group_statistics,
    lag1_autocorrelation,
    mean,
)

NAMES = ["strd-numacc1", "strd-numacc2", "strd-numacc3", "strd-numacc4", "strd-michelso"]


def data_of(item: Published) -> np.ndarray:
    if "y" in item.inputs:
        return np.array(item.inputs["y"])
    rest = item.inputs["then_alternating"] * ((item.inputs["n"] - 1) // 2)
    return np.array([item.inputs["first"], *rest])


@pytest.mark.parametrize("name", NAMES)
def test_one_series(name: str) -> None:
    """The certified mean, s and r1 of a single series."""
    item = published(name)
    data = data_of(item)
    assert item.outputs["n"] == len(data)
    assert item.agrees("mean", mean(data))
    assert item.agrees("sd", experimental_standard_deviation(data))
    assert item.agrees("r1", lag1_autocorrelation(data))


@pytest.mark.parametrize("name", NAMES)
def test_as_one_group_of_many(name: str) -> None:
    """Grouped statistics keep the digits, with another group's values interleaved."""
    item = published(name)
    data = data_of(item)
    values = np.stack([data, np.linspace(-5, 5, len(data))], axis=1).reshape(-1)
    codes = np.tile([0, 1], len(data))
    found = group_statistics(values, codes, 2)
    assert item.agrees("mean", found.mean[0])
    assert item.agrees("sd", found.standard_deviation[0])
    assert item.agrees("r1", found.lag1[0] - 1 / len(data))
