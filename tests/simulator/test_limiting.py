"""Constant current by the network's linear solution."""

from __future__ import annotations

import numpy as np
import pytest

from harness.simulator.limiting import limited_sources
from harness.simulator.network import Solution, StackFacts, Topology, solve_stack


def bled(*bleeds: tuple[int, float]) -> Solution:
    facts = StackFacts(cells=3, output_ohms=0.0, tap_ohms=(0.0,) * 4, bleeds=bleeds)
    return solve_stack(facts, Topology())


def test_nothing_changes_below_the_limit() -> None:
    """100 mA allowed, 33 mA drawn."""
    volts = np.full(3, 3.3)
    found, limited = limited_sources(bled((2, 100.0)), volts, 1.0, np.full(3, 0.1))
    assert found is volts
    assert limited.size == 0


def test_a_limited_source_delivers_its_limit() -> None:
    """33 ohm at 50 mA is 1.65 V; the other sources keep theirs."""
    found, limited = limited_sources(bled((2, 33.0)), np.full(3, 3.3), 1.0, np.full(3, 0.05))
    assert pytest.approx([3.3, 1.65, 3.3], rel=1e-5) == found
    assert [1] == limited.tolist()


def test_several_limited_at_once() -> None:
    """Two bled cells, both limited."""
    solution = bled((1, 10.0), (3, 33.0))
    found, limited = limited_sources(solution, np.full(3, 3.3), 1.0, np.full(3, 0.05))
    assert pytest.approx([0.5, 3.3, 1.65], rel=1e-4) == found
    assert [0, 2] == limited.tolist()


def test_no_source_goes_below_zero() -> None:
    """A limit of nothing at all leaves 0 V, not less."""
    found, _ = limited_sources(bled((2, 33.0)), np.full(3, 3.3), 1.0, np.zeros(3))
    assert found.min() >= 0.0
