"""The numbers behind a mapping: changes, tolerance, nearest cell."""

from __future__ import annotations

import numpy as np
import pytest
from checks_builder import CELLS, FakeBench, FakeBoard, observed, setup

from harness.checks.mapping import MappingCheck
from harness.checks.mapping_evidence import gather_evidence, nearest_cell, tolerance_of
from harness.descriptions.plan import MappingSettings

CHECK = MappingCheck()
SETUP = setup(MappingSettings(kind="mapping"))
TESTED = tuple(range(1, CELLS + 1))


def evidence(fake: FakeBoard, a_setup=SETUP):
    return gather_evidence(observed(CHECK, FakeBench(a_setup, fake)), a_setup, 0, TESTED)


def test_the_response_is_the_change_of_each_channel_for_each_moved_cell():
    found = evidence(FakeBoard(noise=0, step=0)).response[0]
    assert np.allclose(0.15 * np.eye(CELLS), found)


def test_the_tolerance_is_a_tenth_of_the_move_on_a_quiet_board():
    found = tolerance_of(evidence(FakeBoard(noise=0, step=0)))
    assert np.allclose(0.015, found)


def test_the_tolerance_of_a_noisy_channel_is_six_deviations_of_a_difference():
    e = evidence(FakeBoard(noise=0.02, step=0))
    assert np.allclose(6 * np.sqrt(2 / 3) * e.noise[0], tolerance_of(e)[0, 0])


def test_the_nearest_cell_of_a_swapped_channel_is_the_other():
    assert [0, 1, 3, 2] == nearest_cell(evidence(FakeBoard(follows=(0, 1, 3, 2))), SETUP)[
        0
    ].tolist()


def test_cells_too_close_together_tell_nothing_about_the_nearest():
    close = setup(MappingSettings(kind="mapping", spacing_volts=0.005))
    found = nearest_cell(evidence(FakeBoard(follows=(0, 1, 3, 2)), close), close)
    assert list(range(CELLS)) == found[0].tolist()


def test_a_move_that_was_not_made_has_no_step():
    seen = observed(CHECK, FakeBench(SETUP))
    e = gather_evidence(seen.where(seen.step != 2), SETUP, 0, TESTED)
    assert [1, -1, 3, 4] == e.step[0].tolist()
    assert np.isnan(e.moved[0, 1])
    assert 0.15 == pytest.approx(e.moved[0, 0])
