"""Mapping: what each channel follows, told in words."""

from __future__ import annotations

import numpy as np
import pytest
from checks_builder import (
    CELLS,
    FakeBench,
    FakeBoard,
    acquired,
    bench,
    board,
    cell_inputs,
    joined,
    observed,
    setup,
    with_value,
    without,
)

from harness.bench.capabilities import Capability
from harness.checks.mapping import MappingCheck
from harness.descriptions.bench import Wiring
from harness.descriptions.plan import MappingSettings
from harness.metrology.decision import Verdict
from harness.observation import Quantity, Source, tabulate

CHECK = MappingCheck()
SETUP = setup(MappingSettings(kind="mapping"))


def judged(fake: FakeBoard, **changes):
    return CHECK.judge(observed(CHECK, FakeBench(SETUP, fake, **changes)), SETUP, 0)


def test_a_board_whose_channels_follow_their_cells_passes():
    findings = judged(FakeBoard())
    assert (Verdict.PASS,) * CELLS == findings.verdict
    assert ("",) * CELLS == findings.reason


def test_each_finding_names_its_channel_and_move():
    findings = judged(FakeBoard())
    assert [1, 2, 3, 4] == findings.channel.tolist()
    assert "cell 3 moved" == findings.point[2]


def test_gain_and_offset_inside_a_tenth_are_no_matter_of_mapping():
    findings = judged(FakeBoard(gain=(1.003,) * CELLS, offset=(0.003,) * CELLS))
    assert Verdict.PASS is findings.worst()


@pytest.mark.parametrize(
    ("fake", "channel", "reason"),
    [
        pytest.param(
            FakeBoard(follows=(0, 1, 3, 2)), 3, "channels 3 and 4 are swapped", id="swapped"
        ),
        pytest.param(
            FakeBoard(follows=(0, 1, 3, 2)), 4, "channels 3 and 4 are swapped", id="swapped, other"
        ),
        pytest.param(
            FakeBoard(follows=(0, 1, 3, 3)),
            3,
            "channel 3 follows cell 4: a copy of channel 4",
            id="copy",
        ),
        pytest.param(
            FakeBoard(follows=(1, 2, 0, 3)), 1, "channel 1 follows cell 2", id="three in a ring"
        ),
        pytest.param(
            FakeBoard(gain=(1, 1, 0, 1), offset=(0, 0, 3.2, 0)),
            3,
            "channel 3 did not change: frozen or stale",
            id="frozen",
        ),
        pytest.param(
            FakeBoard(gain=(1, -1, 1, 1), offset=(0, 6.4, 0, 0)),
            2,
            "channel 2 moves against its cell: reversed sign",
            id="reversed",
        ),
        pytest.param(
            FakeBoard(gain=(1, 0.8, 1, 1), offset=(0, 0.63, 0, 0)),
            2,
            "channel 2 moved by 120 mV when its cell moved by 150 mV",
            id="weak",
        ),
        pytest.param(
            FakeBoard(offset=(0.05, 0, 0, 0)),
            1,
            "channel 1 follows its cell but reads nearest to cell 2",
            id="offset",
        ),
    ],
)
def test_what_is_wrong_is_told(fake, channel, reason):
    fake.noise = 0.0
    findings = judged(fake)
    assert (Verdict.FAIL, reason) == (findings.verdict[channel - 1], findings.reason[channel - 1])


def test_a_fault_of_two_channels_leaves_the_others_passing():
    findings = judged(FakeBoard(follows=(0, 1, 3, 2)))
    assert (Verdict.PASS, Verdict.PASS) == findings.verdict[:2]


def crosstalk(values: np.ndarray) -> np.ndarray:
    changed = values.copy()
    changed[1] += 0.2 * (values[3] - 3.26)
    return changed


def test_a_channel_that_also_moves_with_another_cell_fails():
    findings = judged(FakeBoard(noise=0.0, step=0.0, change=crosstalk))
    assert "channel 2 moved by 30 mV when cell 4 moved by 150 mV" == findings.reason[1]


def mixture(values: np.ndarray) -> np.ndarray:
    changed = values.copy()
    changed[0] = values[0] + values[1] - 3.18
    return changed


def test_a_channel_that_follows_two_cells_fails():
    findings = judged(FakeBoard(noise=0.0, change=mixture))
    assert "channel 1 follows cells 1 and 2" == findings.reason[0]


def test_a_channel_without_a_value_is_not_run():
    seen = with_value(
        observed(CHECK, FakeBench(SETUP)),
        np.nan,
        source=Source.BOARD,
        channel=2,
        quantity=Quantity.CELL_VOLTAGE,
        step=0,
    )
    findings = CHECK.judge(seen, SETUP, 0)
    assert (Verdict.NOT_RUN, "channel 2 sent no value at 1 of the points") == (
        findings.verdict[1],
        findings.reason[1],
    )


def test_an_overloaded_reference_is_not_run():
    seen = with_value(
        observed(CHECK, FakeBench(SETUP)), np.nan, source=Source.REFERENCE, channel=2, step=2
    )
    findings = CHECK.judge(seen, SETUP, 0)
    assert "cell 2 has no reference reading where it was moved" == findings.reason[1]


def test_a_cell_never_moved_is_not_run():
    findings = CHECK.judge(without(observed(CHECK, FakeBench(SETUP)), step=3), SETUP, 0)
    assert (Verdict.NOT_RUN, "cell 3 was not moved") == (findings.verdict[2], findings.reason[2])


def test_an_unsettled_move_cannot_be_decided():
    points = acquired(CHECK, FakeBench(SETUP))
    points[2] = type(points[2])(**{**vars(points[2]), "did_settle": False})
    findings = CHECK.judge(tabulate(points), SETUP, 0)
    assert [Verdict.CANNOT_DECIDE] == [v for v in findings.verdict if v is not Verdict.PASS]


def test_identical_frames_that_the_noise_forbids_are_told():
    noisy = setup(
        MappingSettings(kind="mapping"), board=board(cell_inputs=cell_inputs(noise_volts=0.002))
    )
    seen = observed(CHECK, FakeBench(noisy, FakeBoard(noise=0.0)))
    findings = CHECK.judge(seen, noisy, 0)
    assert Verdict.CONDITIONAL_PASS is findings.verdict[3]
    assert findings.reason[3].startswith("12 identical frames, where the declared noise of 2 mV")


def test_two_runs_are_judged_apart():
    bad = FakeBench(SETUP, FakeBoard(follows=(1, 0, 2, 3)))
    seen = joined(observed(CHECK, FakeBench(SETUP), run=7), observed(CHECK, bad, run=9))
    findings = CHECK.judge(seen, SETUP, 0)
    failed = [
        (int(r), int(c))
        for r, c, v in zip(findings.run, findings.channel, findings.verdict, strict=True)
        if v is Verdict.FAIL
    ]
    assert [(9, 1), (9, 2)] == failed


def test_step_0_gives_each_cell_a_value_of_its_own():
    base = CHECK.points(SETUP, 0)[0].cell_volts
    assert [0.04] * (CELLS - 1) == pytest.approx(np.diff(base).tolist())


def test_each_move_changes_one_cell_only():
    base, *moves = CHECK.points(SETUP, 0)
    changed = [np.flatnonzero(np.array(m.cell_volts) != base.cell_volts).tolist() for m in moves]
    assert [[k] for k in range(CELLS)] == changed


def test_the_reference_is_read_at_every_cell_once_then_at_the_moved_one():
    fake = FakeBench(SETUP)
    acquired(CHECK, fake)
    assert [(1, 2, 3, 4), (1,), (2,), (3,), (4,)] == [
        c[1] for c in fake.calls if c[0] == "measure_cells"
    ]


def test_a_move_that_would_leave_the_range_goes_down():
    low = setup(MappingSettings(kind="mapping", base_volts=4.3))
    base, *moves = CHECK.points(low, 0)
    assert moves[3].cell_volts[3] < base.cell_volts[3]


def test_the_pattern_stays_inside_the_range_of_the_board():
    near = setup(MappingSettings(kind="mapping", base_volts=2.03))
    assert 2.0 <= min(CHECK.points(near, 0)[0].cell_volts)


LADDER = bench(
    wiring=Wiring(
        topology="ladder",
        cells=CELLS,
        supply="source",
        channels=(1,),
        rung_ohms=100.0,
        rung_shunt_ratio=9.0,
    )
)


def test_a_ladder_keeps_its_total_when_a_rung_is_shunted():
    on_ladder = setup(MappingSettings(kind="mapping"), bench=LADDER)
    assert [4 * 3.2] * 5 == pytest.approx([sum(p.cell_volts) for p in CHECK.points(on_ladder, 0)])


def test_the_tilt_of_a_ladder_is_no_crosstalk():
    on_ladder = setup(MappingSettings(kind="mapping"), bench=LADDER)
    findings = CHECK.judge(observed(CHECK, FakeBench(on_ladder)), on_ladder, 0)
    assert Verdict.PASS is findings.worst()


def test_individual_cells_are_needed():
    assert Capability.INDIVIDUAL_CELLS in CHECK.needs(SETUP, 0)
