"""What all checks do alike when they visit a point."""

from __future__ import annotations

from checks_builder import CELLS, setup
from hypothesis import given
from hypothesis import strategies as st

from harness.checks.visiting import every_cell, every_thermistor, merged
from harness.descriptions.plan import NoiseSettings
from harness.observation import Observation, Quantity, Source

SETUP = setup(NoiseSettings(kind="noise"))


def test_no_choice_means_all_cells_and_thermistors():
    assert (tuple(range(1, CELLS + 1)), (1, 2)) == (
        every_cell(SETUP, None),
        every_thermistor(SETUP, None),
    )


def test_a_choice_is_kept_in_its_order():
    assert ((3, 1), (2,)) == (every_cell(SETUP, (3, 1)), every_thermistor(SETUP, (2,)))


def frame(moment: float, channel: int = 1, sequence: int = 0) -> Observation:
    return Observation(Source.BOARD, Quantity.TEMPERATURE, channel, sequence, 25.0, moment, moment)


def test_looks_that_overlap_give_each_frame_once():
    found = merged(([frame(1.0), frame(2.0, sequence=1)], [frame(2.0), frame(3.0, sequence=1)]))
    assert [(1.0, 0), (2.0, 1), (3.0, 2)] == [(o.monotonic, o.sequence) for o in found]


def test_channels_are_numbered_apart():
    found = merged(([frame(1.0, 1), frame(1.0, 2)], [frame(2.0, 1)]))
    assert [(1, 0), (2, 0), (1, 1)] == [(o.channel, o.sequence) for o in found]


@given(st.lists(st.lists(st.tuples(st.integers(0, 9), st.integers(1, 3)))))
def test_merging_is_the_same_however_the_looks_are_cut(looks):
    parts = [[frame(float(t), c) for t, c in look] for look in looks]
    whole = [o for part in parts for o in part]
    as_set = {(o.monotonic, o.channel, o.sequence) for o in merged(parts)}
    assert as_set == {(o.monotonic, o.channel, o.sequence) for o in merged([whole])}
