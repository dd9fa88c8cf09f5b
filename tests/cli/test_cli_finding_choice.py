"""Channels and points are found as people write them; what is not there is told."""

from __future__ import annotations

from dataclasses import replace

import pytest
from made_up_findings import made_up_findings, result_of

from harness.cli.finding_choice import MOST_LISTED, channel_words, chosen_findings
from harness.errors import DescriptionError
from harness.finding import Judgement
from harness.metrology.decision import Verdict

PASS = Verdict.PASS
SWEEP = made_up_findings((PASS,) * 24, points=("3.300 V up", "3.300 V down"))
NOISE = made_up_findings((PASS,) * 12, check="noise", check_index=1, points=("3.300 V",))
WARMTH = made_up_findings(
    (PASS,) * 2, check="thermistor-accuracy", check_index=2, subject="thermistor",
    points=("25.0 degC",),
)  # fmt: skip
JUDGEMENT = Judgement((result_of(SWEEP), result_of(NOISE), result_of(WARMTH), result_of(None)))


def chosen(channel: str, point: str, check: str | None = None) -> list[tuple[str, int, str]]:
    """Check, channel and point of each finding that fits."""
    found = chosen_findings(JUDGEMENT, channel, point, check)
    return [(f.findings.check, f.row.channel, f.row.point) for f in found]


@pytest.mark.parametrize("channel", ["5", "cell 5", "cell5", "CELL 5"])
def test_a_cell_by_number_or_name(channel: str) -> None:
    assert [("cell-accuracy", 5, "3.300 V up")] == chosen(channel, "3.300 V up")


@pytest.mark.parametrize("point", ["3.300 V up", "3.300Vup", "3.300 v UP"])
def test_a_point_in_any_spacing_and_case(point: str) -> None:
    assert [("cell-accuracy", 5, "3.300 V up")] == chosen("5", point)


@pytest.mark.parametrize("point", ["25.0 degC", "25.0 °C", "25.0°C"])
def test_a_temperature_with_or_without_the_degree_sign(point: str) -> None:
    assert [("thermistor-accuracy", 2, "25.0 degC")] == chosen("thermistor 2", point)


def test_a_plain_number_is_a_place_in_the_check() -> None:
    """Every check that has this place answers, in the plan's order."""
    assert [("cell-accuracy", 1, "3.300 V up"), ("noise", 1, "3.300 V")] == chosen("1", "1")


def test_one_check_alone_can_be_asked() -> None:
    assert [("noise", 1, "3.300 V")] == chosen("1", "1", check="noise")


def test_a_number_alone_is_never_a_thermistor() -> None:
    with pytest.raises(DescriptionError, match="point: expected one of"):
        chosen("2", "25.0 °C")


def test_unknown_channels_are_answered_with_those_there_are() -> None:
    with pytest.raises(
        DescriptionError, match=r'^channel: expected one of cell 1, cell 2, .*"13"$'
    ):
        chosen("13", "3.300 V up")


def test_unknown_points_are_answered_with_those_of_the_channel() -> None:
    expected = 'point: expected one of 25.0 °C, got "26 °C"'
    with pytest.raises(DescriptionError) as told:
        chosen("thermistor 1", "26 °C")
    assert expected == str(told.value)


def test_unknown_checks_are_answered_with_those_there_are() -> None:
    with pytest.raises(DescriptionError, match=r'out of cell-accuracy, noise, .*, got "mapping"'):
        chosen("1", "1", check="mapping")


def test_long_lists_are_cut() -> None:
    points = tuple(f"{volts} V up" for volts in range(30))
    judgement = Judgement((result_of(made_up_findings((PASS,) * 30, points=points)),))
    with pytest.raises(DescriptionError, match=f"and {30 - MOST_LISTED} more, got"):
        chosen_findings(judgement, "1", "99 V")


def test_a_stack_has_no_number() -> None:
    row = made_up_findings(subject="stack").row(0)
    assert "stack" == channel_words(replace(row, channel=0))
