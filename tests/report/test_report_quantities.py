"""Numbers as people read them."""

from __future__ import annotations

import math

import pytest

from harness.report.quantities import (
    freedom_text,
    limit_text,
    number_text,
    percent_text,
    signed_number,
    size_text,
    small_text,
    uncertainty_decimals,
    uncertainty_number,
    uncertainty_text,
    value_text,
)

NAN = math.nan


@pytest.mark.parametrize(
    ("decimals", "shown"),
    [(1, 0.61), (2, 0.26), (2, 0.031), (0, 8.4), (0, 12.0), (1, 2.9), (0, 340.0), (1, 0.0)],
)
def test_uncertainty_keeps_two_digits_only_when_the_first_is_one_or_two(
    decimals: int, shown: float
) -> None:
    assert decimals == uncertainty_decimals(shown)


@pytest.mark.parametrize(("decimals", "shown"), [(2, 0.61), (3, 0.061), (1, 6.1), (0, 61.0)])
def test_two_digits_on_request(decimals: int, shown: float) -> None:
    assert decimals == uncertainty_decimals(shown, 2)


@pytest.mark.parametrize(
    ("text", "shown", "decimals"),
    [("0.6", 0.61, 1), ("0.7", 0.64, 1), ("0.6", 0.63, 1), ("4", 3.4, 0), ("\u2013", NAN, 1)],
    ids=["down-2-percent", "up-not-6-percent", "down-under-5-percent", "up-not-12-percent", "nan"],
)
def test_uncertainty_is_not_rounded_down_by_more_than_five_percent(
    text: str, shown: float, decimals: int
) -> None:
    """EA-4/02 6.3, from memory."""
    assert text == uncertainty_number(shown, decimals)


@pytest.mark.parametrize(
    ("text", "shown"), [("+12.13", 12.13), ("-0.50", -0.5), ("0.00", -0.001), ("\u2013", NAN)]
)
def test_signed_number_has_no_minus_zero(text: str, shown: float) -> None:
    assert text == signed_number(shown, 2)


@pytest.mark.parametrize(
    ("text", "value", "unit", "expanded"),
    [
        ("12.1 mV", 0.01213, "V", 0.00061),
        ("12.13 mV", -0.01213, "V", 0.00026),
        ("3.1 °C", 3.11, "degC", 0.4),
        ("3.3000 V", -3.3, "V", 0.002),
        ("12.13 mV", 0.01213, "V", NAN),
        ("\u2013", NAN, "V", 0.1),
    ],
)
def test_size_is_rounded_as_its_uncertainty(
    text: str, value: float, unit: str, expanded: float
) -> None:
    assert text == size_text(value, unit, expanded)


@pytest.mark.parametrize(
    ("text", "limit", "unit"),
    [("5 mV", 0.005, "V"), ("1.5 °C", 1.5, "degC"), ("2 s", 2.0, "s"), ("\u2013", NAN, "V")],
)
def test_limit_is_shown_as_declared(text: str, limit: float, unit: str) -> None:
    assert text == limit_text(limit, unit)


def test_uncertainty_has_its_unit() -> None:
    assert uncertainty_text(0.00061, "V") == "0.6 mV"


@pytest.mark.parametrize(
    ("text", "value", "unit"),
    [("3.3004 V", 3.30041, "V"), ("-10.00 °C", -10.0, "degC"), ("\u2013", NAN, "V")],
)
def test_values_keep_their_own_unit(text: str, value: float, unit: str) -> None:
    assert text == value_text(value, unit)


@pytest.mark.parametrize(
    ("text", "value"), [("2.45", 2.449), ("14.0", 14.0), ("\u2013", NAN), ("infinite", math.inf)]
)
def test_ratios_have_three_digits(text: str, value: float) -> None:
    assert text == number_text(value)


@pytest.mark.parametrize(
    ("text", "freedom"), [("4", 4.9), ("infinite", math.inf), ("infinite", 2e4), ("\u2013", NAN)]
)
def test_degrees_of_freedom_are_cut_downwards(text: str, freedom: float) -> None:
    """GUM G.4.1: truncate to the next lower integer."""
    assert text == freedom_text(freedom)


@pytest.mark.parametrize(
    ("text", "probability"),
    [("0 %", 0.0), ("< 0.01 %", 2e-9), ("2.5 %", 0.025), ("50 %", 0.5), ("\u2013", NAN)],
)
def test_probabilities_in_percent(text: str, probability: float) -> None:
    assert text == percent_text(probability)


@pytest.mark.parametrize(
    ("text", "shown"),
    [("0.10", 0.1021), ("12", 12.3), ("< 0.001", 7e-5), ("0", 0.0), ("\u2013", NAN)],
)
def test_contributions_have_two_digits(text: str, shown: float) -> None:
    assert text == small_text(shown)
