"""Cell basis and tap basis."""

from __future__ import annotations

import numpy as np
import pytest

from harness.metrology.bases import (
    cells_to_taps,
    sum_uncertainty,
    tap_uncertainty,
    taps_to_cells,
)


def test_there_and_back() -> None:
    cells = np.random.default_rng(1).normal(size=(3, 12))
    assert cells == pytest.approx(taps_to_cells(cells_to_taps(cells)))


def test_one_bad_tap_is_a_pair_of_cells_and_a_single_tap() -> None:
    cells = np.zeros(6)
    cells[2], cells[3] = 0.004, -0.004
    assert [0, 0, 0.004, 0, 0, 0] == pytest.approx(cells_to_taps(cells).tolist())


def test_one_bad_channel_is_a_step_of_taps() -> None:
    assert [0, 0, 1, 1] == cells_to_taps([0, 0, 1, 0]).tolist()


def test_common_part_of_a_sum_adds_linearly() -> None:
    """Twelve cells: 12 times the meter's, sqrt 12 times their own."""
    found = sum_uncertainty(np.full(12, 3.0), np.full(12, 4.0))
    assert np.hypot(36.0, 4.0 * 12**0.5) == pytest.approx(float(found))


def test_last_tap_is_the_sum() -> None:
    common, own = np.full((2, 12), 0.3), np.full((2, 12), 0.4)
    assert sum_uncertainty(common, own) == pytest.approx(tap_uncertainty(common, own)[:, -1])


def test_missing_cell_spoils_the_taps_above_only() -> None:
    assert [False, True, True] == np.isnan(cells_to_taps([1, np.nan, 1])).tolist()
