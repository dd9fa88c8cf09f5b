"""The words for a mapping that is not as it should be."""

from __future__ import annotations

import numpy as np
from checks_builder import CELLS, FakeBench, FakeBoard, observed, setup, without

from harness.checks import mapping_story
from harness.checks.mapping import MappingCheck
from harness.checks.mapping_evidence import gather_evidence
from harness.checks.mapping_story import mapping_statements
from harness.descriptions.plan import MappingSettings
from harness.metrology.decision import Verdict

CHECK = MappingCheck()


def statements(fake: FakeBoard, **settings):
    a_setup = setup(MappingSettings(kind="mapping", **settings))
    tested = settings.get("cells") or tuple(range(1, CELLS + 1))
    seen = observed(CHECK, FakeBench(a_setup, fake))
    return mapping_statements(gather_evidence(seen, a_setup, 0, tested), a_setup, tested)


def test_only_tested_cells_are_told():
    verdicts, _ = statements(FakeBoard(), cells=(2, 3))
    assert (Verdict.PASS, Verdict.PASS) == verdicts


def test_a_channel_that_follows_an_untested_cell_did_not_change():
    _, reasons = statements(FakeBoard(follows=(0, 3, 2, 1)), cells=(2, 3))
    assert ("channel 2 did not change: frozen or stale", "") == reasons


def test_a_move_too_small_to_tell_is_the_benchs_matter():
    verdicts, reasons = statements(FakeBoard(), move_volts=0.001)
    assert {Verdict.CANNOT_DECIDE} == set(verdicts)
    assert "bench: cell 1 moved by 1 mV only, too little to tell" == reasons[0]


SETUP = setup(MappingSettings(kind="mapping"))
TESTED = tuple(range(1, CELLS + 1))


def test_a_cell_never_moved_leaves_the_other_channels_untold():
    """Whether channel 1 also follows cell 3 shows only when cell 3 moves."""
    seen = without(observed(CHECK, FakeBench(SETUP)), step=3)
    verdicts, reasons = mapping_statements(gather_evidence(seen, SETUP, 0, TESTED), SETUP, TESTED)
    assert (Verdict.NOT_RUN,) * CELLS == verdicts
    assert "cell 3 was not moved, so whether channel 1 follows it is not known" == reasons[0]
    assert "cell 3 was not moved" == reasons[2]


def test_what_is_not_clean_and_has_no_story_is_no_pass(monkeypatch):
    evidence = gather_evidence(observed(CHECK, FakeBench(SETUP)), SETUP, 0, TESTED)
    monkeypatch.setattr(
        mapping_story, "is_clean", lambda e, s, tested: np.zeros((1, len(tested)), dtype=bool)
    )
    verdicts, reasons = mapping_statements(evidence, SETUP, TESTED)
    assert (Verdict.CANNOT_DECIDE,) * CELLS == verdicts
    assert "what channel 1 did is not what a good one does" == reasons[0]
