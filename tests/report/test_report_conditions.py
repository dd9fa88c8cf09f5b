"""Ambient conditions in words."""

from __future__ import annotations

from report_builder import report_input

from harness.observation import Observation, PointRecord, Quantity, Source, tabulate
from harness.report.conditions import conditions


def test_declared_conditions_are_said_to_be() -> None:
    assert conditions(report_input())[0] == "Air temperature: 22.5 °C, as declared by the operator."


def test_observed_conditions_give_their_span() -> None:
    rows = tuple(
        Observation(Source.AMBIENT, Quantity.TEMPERATURE, 0, i, v, 0.0, 0.0)
        for i, v in enumerate((22.1, float("nan"), 23.4))
    )
    seen = report_input(observations=tabulate([PointRecord(0, 0, {}, rows)]))
    expected = "Air temperature: 22.1 to 23.4 °C, observed during the run."
    assert expected == conditions(seen)[0]
