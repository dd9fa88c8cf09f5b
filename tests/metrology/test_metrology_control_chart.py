"""Constants of small samples, against simulation."""

from __future__ import annotations

import numpy as np
import pytest

from harness.metrology.control_chart import mean_range_d2


@pytest.mark.parametrize("n", [2, 7, 25])
def test_mean_range_of_simulated_samples(n: int) -> None:
    samples = np.random.default_rng(n).normal(size=(100_000, n))
    assert np.ptp(samples, axis=1).mean() == pytest.approx(mean_range_d2(n), rel=0.01)


def test_one_value_has_no_range() -> None:
    with pytest.raises(ValueError, match="count: expected 2 or more, got 1"):
        mean_range_d2(1)
