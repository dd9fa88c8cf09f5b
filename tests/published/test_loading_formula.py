"""Voltmeter loading and the source resistance of a divider.

Measurement tutorials of multimeter guides ("loading errors due to input resistance").
Confidence: partly from memory.
"""

from __future__ import annotations

import pytest
from published_item import published

from harness.metrology.loading import bias_current_error_volts, divider, loading_error_ratio

ITEM = published("loading-error")


@pytest.mark.parametrize(
    ("quantity", "source_ohms"), [("1k/10M", 1e3), ("10k/10M", 1e4), ("100k/10M", 1e5)]
)
def test_error_of_a_ten_megohm_meter(quantity: str, source_ohms: float) -> None:
    assert ITEM.agrees(quantity, 100 * loading_error_ratio(source_ohms, 1e7))


def test_divider_read_by_a_ten_megohm_meter() -> None:
    """100 kohm over 100 kohm from 4.2 V: 2.1 V open, 50 kohm, read 0.4975 % low."""
    open_volts, source_ohms = divider(4.2, 1e5, 1e5)
    assert pytest.approx((2.1, 5e4)) == (float(open_volts), float(source_ohms))
    reading = open_volts * (1 + loading_error_ratio(source_ohms, 1e7))
    assert ITEM.agrees("divider reading", reading)


def test_bias_current() -> None:
    """30 pA through 50 kohm is 1.5 microvolts."""
    assert pytest.approx(1.5e-6) == float(bias_current_error_volts(5e4, 30e-12))
