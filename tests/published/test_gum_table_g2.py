"""Two-sided t-factors for six probabilities.

JCGM 100:2008, table G.2. Confidence: partly from memory. Tolerance: half the last printed
digit, a little more where p = 68.27 % and 95.45 % are themselves rounded.
"""

from __future__ import annotations

import math

import pytest
from published_item import published

from harness.metrology.coverage import t_factor

GUM = published("gum-table-g2")
ROWS = [
    (float(row.removeprefix("nu=")), p, value)
    for row, values in GUM.outputs.items()
    for p, value in zip(GUM.inputs["p"], values, strict=True)
]


@pytest.mark.parametrize(("nu", "p", "value"), ROWS, ids=lambda x: f"{x:g}")
def test_t_factor(nu: float, p: float, value: float) -> None:
    key = f"t(p={p:g},nu={'inf' if math.isinf(nu) else f'{nu:g}'})"
    tolerance = GUM.expected[key][1] if key in GUM.expected else 0.006
    assert value == pytest.approx(float(t_factor(p, nu)), abs=tolerance)
