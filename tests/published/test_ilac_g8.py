"""Decision rules and the words of their statements.

ILAC-G8:09/2019, 4.2.1 to 4.2.3 and table 1. Confidence: partly from memory. The table gives
upper bounds of the specific risk; the tolerances belong to the exact values.
"""

from __future__ import annotations

import pytest
from published_item import published

from harness.metrology.decision import Rule, Verdict, decide
from harness.metrology.guard_band import specific_risk_at_limit

ILAC = published("ilac-g8-rules")
LIMIT, U = 5.0, 1.0


@pytest.mark.parametrize(
    ("error", "statement"),
    [
        (3.9, Verdict.PASS),
        (4.0, Verdict.PASS),
        (4.1, Verdict.CONDITIONAL_PASS),
        (5.0, Verdict.CONDITIONAL_PASS),
        (5.1, Verdict.CONDITIONAL_FAIL),
        (6.0, Verdict.CONDITIONAL_FAIL),
        (6.1, Verdict.FAIL),
    ],
)
@pytest.mark.parametrize("sign", [1, -1])
def test_non_binary_statement_with_guard_band_u(
    sign: int, error: float, statement: Verdict
) -> None:
    """4.2.3: bounds belong to the better statement; a lower limit mirrors the upper one."""
    assert (statement,) == decide([sign * error], LIMIT, U, Rule.GUARD_BAND)


@pytest.mark.parametrize(
    ("error", "statement"), [(4.9, Verdict.PASS), (5.0, Verdict.PASS), (5.1, Verdict.FAIL)]
)
def test_simple_acceptance(error: float, statement: Verdict) -> None:
    """4.2.1: no guard band."""
    assert (statement,) == decide([error], LIMIT, U, Rule.SIMPLE)


@pytest.mark.parametrize(
    ("quantity", "fraction", "bound"),
    [
        ("PFA at AL, r=1 (bound 0.025)", 1.0, 0.025),
        ("r=0.83 (bound 0.05)", 0.83, 0.05),
        ("r=1.5 (bound 0.0016)", 1.5, 0.0016),
        ("r=3 (bound 1e-6)", 3.0, 1e-6),
        ("r=0", 0.0, 0.5),
    ],
)
def test_specific_risk_at_the_acceptance_limit(
    quantity: str, fraction: float, bound: float
) -> None:
    """Table 1: the risk at A = T - r U, and that it keeps the bound of the table."""
    risk = float(specific_risk_at_limit(fraction))
    assert ILAC.agrees(quantity, risk)
    assert risk <= bound
