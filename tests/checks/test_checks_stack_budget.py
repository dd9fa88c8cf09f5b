"""Budgets of sums: how parts of one name are woven and added."""

from __future__ import annotations

import numpy as np
import pytest

from harness.checks.reference_budget import rectangular
from harness.checks.stack_budget import interleaved
from harness.metrology.budget import Budget


def budget(**half_widths: list[float]) -> Budget:
    return Budget(
        tuple(
            rectangular(name, np.array(a), f"source of {name}", "advice")
            for name, a in half_widths.items()
        )
    )


def test_entries_of_one_visit_stand_together():
    woven = interleaved([budget(a=[1.0, 2.0]), budget(a=[10.0, 20.0])])
    expected = np.array([1.0, 10.0, 2.0, 20.0]) / np.sqrt(3)
    assert expected.tolist() == pytest.approx(woven.contributions[0].standard_uncertainty.tolist())


def test_a_part_that_one_budget_lacks_is_nothing_there():
    woven = interleaved([budget(a=[1.0]), budget(b=[3.0])])
    sizes = {c.name: c.standard_uncertainty.tolist() for c in woven.contributions}
    assert {"a": [pytest.approx(1 / np.sqrt(3)), 0.0], "b": [0.0, pytest.approx(np.sqrt(3))]} == (
        sizes
    )
