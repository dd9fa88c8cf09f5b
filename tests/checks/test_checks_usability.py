"""Values that must not be judged, each with its sentence."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from checks_builder import bench, setup

from harness.checks.samples import Samples, Visits
from harness.checks.usability import (
    board_override,
    implausible_reference,
    reference_override,
    unsettled_overrides,
)
from harness.descriptions.plan import CellAccuracySettings
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


PLAN = CellAccuracySettings(kind="cell-accuracy", points_volts=(2.5, 2.8, 3.0, 3.3, 3.65))


@pytest.mark.parametrize("reference", [0.0, 2.3, 2.7, -2.5])
def test_a_reference_far_from_the_set_point_is_the_benchs_fault(reference):
    override = implausible_reference(np.array([2.5]), np.array([reference]), (3,), setup(PLAN))
    assert [True] == override.mask.tolist()
    assert Verdict.CANNOT_DECIDE is override.verdict


def test_an_implausible_reference_is_told_with_cell_and_set_point():
    override = implausible_reference(np.array([2.5]), np.array([0.0003]), (3,), setup(PLAN))
    assert (
        "bench: the meter has 0.3 mV at cell 3 where 2.500 V were set: look for a relay that does "
        "not close, a broken lead, a wrong path in the bench file"
    ) == override.reason(0)


@pytest.mark.parametrize(
    ("nominal", "reference"), [(2.5, 2.4), (2.5, 2.6), (np.nan, 2.5), (2.5, np.nan)]
)
def test_a_set_point_is_no_reference(nominal, reference):
    """What supply, leads or rungs may be off, and what is not known, overrides nothing."""
    override = implausible_reference(np.array([nominal]), np.array([reference]), (3,), setup(PLAN))
    assert [False] == override.mask.tolist()


def test_without_a_supply_no_cell_voltage_is_implausible():
    """Measurements made elsewhere name their points as they like."""
    entries = {k: e for k, e in bench().instruments.items() if e.role != "supply"}
    by_hand = replace(setup(PLAN), bench=bench(instruments=entries))
    override = implausible_reference(np.array([2.5]), np.array([3.2]), (3,), by_hand)
    assert [False] == override.mask.tolist()
