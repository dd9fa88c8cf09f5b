"""Values that must not be judged, each with its sentence."""

from __future__ import annotations

import numpy as np

from harness.checks.samples import Samples, Visits
from harness.checks.usability import board_override, reference_override, unsettled_overrides
from harness.metrology.decision import Verdict


def samples(*channels: list[float]) -> Samples:
    values = np.array([channels], dtype=float)
    return Samples(values, np.ones_like(values, dtype=bool), np.zeros_like(values))


def test_a_channel_with_all_values_is_left_alone():
    assert not board_override(samples([1.0, 2.0]), (1,), "channel").mask.any()


def test_a_frame_without_value_names_channel_and_count():
    override = board_override(samples([1.0, 2.0], [np.nan, 2.0]), (4, 7), "channel")
    assert [False, True] == override.mask.tolist()
    assert "channel 7 had no value in 1 of 2 frames" == override.reason(1)


def test_an_overload_names_the_cell():
    override = reference_override(samples([np.nan]), (5,), "cell")
    assert Verdict.NOT_RUN is override.verdict
    assert "the meter had no number at cell 5 (overload) in 1 of 1 readings" == override.reason(0)


def test_an_unsettled_visit_covers_all_its_channels():
    zero = np.zeros(2, dtype=np.int64)
    visits = Visits(0, zero, np.arange(2), zero[:1], zero, np.array([True, False]), ({}, {}))
    assert [False] * 3 + [True] * 3 == unsettled_overrides(visits, 3).mask.tolist()
