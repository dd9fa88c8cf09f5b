"""Voltmeter loading: error = -Rs / (Rs + Ri), divider source resistance R1 R2 / (R1 + R2).

Multimeter user's guides and tutorials, "Loading errors due to input resistance"; confidence:
partly from memory. Tolerances are half a unit of the last digit held. The figures are put to
the twin's own network, not to the formula.
"""

from __future__ import annotations

import pytest

from harness.simulator.network import Circuit


def read_through(source_ohms: float, meter_ohms: float) -> float:
    """Share of 1 V that a meter reads behind a source resistance."""
    circuit = Circuit(3)
    circuit.add_source(0, 1, 0.0)
    circuit.add_resistor(1, 2, source_ohms)
    circuit.add_resistor(2, 0, meter_ohms)
    return float(circuit.solve()[0][2, 0])


@pytest.mark.parametrize(
    ("source_ohms", "meter_ohms", "error_percent", "tolerance"),
    [
        (1e3, 1e7, -0.009999, 1e-7),
        (1e4, 1e7, -0.0999001, 1e-7),
        (1e5, 1e7, -0.990099, 1e-6),
        (1e3, 1e6, -0.0999001, 1e-7),
    ],
    ids=["1k-10M", "10k-10M", "100k-10M", "1k-1M"],
)
def test_loading_error(
    source_ohms: float, meter_ohms: float, error_percent: float, tolerance: float
) -> None:
    """The network loses to the meter what the guides say."""
    found = 100 * (read_through(source_ohms, meter_ohms) - 1)
    assert error_percent == pytest.approx(found, abs=tolerance)


def test_divider_read_by_a_10_megohm_meter() -> None:
    """100 kohm over 100 kohm from 4.2 V: 2.1 V open, 2.0895522388 V read."""
    circuit = Circuit(3)
    circuit.add_source(0, 1, 0.0)
    circuit.add_resistor(1, 2, 1e5)
    circuit.add_resistor(2, 0, 1e5)
    circuit.add_resistor(2, 0, 1e7)
    assert pytest.approx(2.0895522388, abs=1e-10) == 4.2 * circuit.solve()[0][2, 0]
