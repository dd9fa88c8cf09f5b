"""Guard-band factors from the test uncertainty ratio.

Common formulas, no normative source; the numbers are read in a public copy of a test suite
(TUR = 2.5), printed to six digits.
"""

from __future__ import annotations

import re
from collections.abc import Callable

import numpy as np
import pytest
from published_item import published

from harness.metrology import guard_band

FORMULAS = published("guard-band-formulas")
TUR = FORMULAS.inputs["TUR"]


@pytest.mark.parametrize(
    ("name", "function"),
    [
        ("rss", guard_band.root_difference),
        ("subtract_U", guard_band.subtract_uncertainty),
        ("rp10", guard_band.recommended_practice_10),
        ("managed_2_percent", guard_band.managed_two_percent),
    ],
)
def test_factor(name: str, function: Callable[[float], np.ndarray]) -> None:
    expected = float(re.search(r"= ([\d.]+)$", FORMULAS.outputs[name]).group(1))
    assert expected == pytest.approx(float(function(TUR)), abs=5e-7)
