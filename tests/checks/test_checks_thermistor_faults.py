"""Open and short circuits of thermistors: told in time, by what is declared, and alone."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from checks_builder import (
    FakeBench,
    FakeBoard,
    acquired,
    board,
    joined,
    observed,
    setup,
    with_value,
    without,
)

from harness.checks.thermistor_faults import ThermistorFaultsCheck
from harness.descriptions.board import ThermistorInput
from harness.descriptions.plan import ThermistorFaultsSettings
from harness.metrology.decision import Verdict
from harness.observation import Quantity, Source

CHECK = ThermistorFaultsCheck()
SETUP = setup(ThermistorFaultsSettings(kind="thermistor-open-short", reaction_seconds=0.5))


def judged(fake: FakeBoard, a_setup=SETUP):
    return CHECK.judge(observed(CHECK, FakeBench(a_setup, fake)), a_setup, 0)


def test_flags_that_rise_in_time_pass():
    findings = judged(FakeBoard(told_after=0.25))
    assert ((Verdict.PASS,) * 4, ("",) * 4) == (findings.verdict, findings.reason)


def test_the_findings_are_open_then_short_for_each_thermistor():
    findings = judged(FakeBoard())
    assert [(1, "open"), (1, "short"), (2, "open"), (2, "short")] == list(
        zip(findings.channel.tolist(), findings.point, strict=True)
    )


def test_the_reaction_time_is_the_indication():
    findings = judged(FakeBoard(told_after=0.25))
    assert [0.3] * 4 == pytest.approx(findings.indication.tolist())


def test_a_plausible_temperature_without_flag_fails_and_is_named():
    findings = judged(FakeBoard(told_after=None))
    assert "thermistor 2 open reads -12.3 degC with no flag" == findings.reason[2]


def test_a_late_flag_fails_with_its_time():
    findings = judged(FakeBoard(told_after=0.65))
    assert (Verdict.FAIL, "thermistor 1 open is told after 0.70 s, allowed 0.5 s") == (
        findings.verdict[0],
        findings.reason[0],
    )


def test_an_open_told_as_a_short_fails():
    findings = judged(FakeBoard(swaps_flags=True))
    assert "thermistor 1 open is told as a short circuit" == findings.reason[0]


def declared(open_reads: float, short_reads: float):
    thermistor = ThermistorInput(
        name="t", curve="ntc.toml", open_reads_celsius=open_reads, short_reads_celsius=short_reads
    )
    return replace(SETUP, board=board(thermistors=(thermistor,) * 2))


def test_the_declared_reading_tells_a_fault_without_any_flag():
    findings = judged(FakeBoard(told_after=None, fault_celsius=-40.0), declared(-40.0, 150.0))
    assert (Verdict.PASS, Verdict.FAIL) == findings.verdict[:2]


def test_no_value_tells_a_fault():
    findings = judged(FakeBoard(told_after=None, fault_celsius=math.nan))
    assert Verdict.PASS is findings.worst()


def test_a_flag_that_falls_again_fails():
    seen = observed(CHECK, FakeBench(SETUP, FakeBoard(told_after=None)))
    changed = with_value(
        seen, 1.0, step=0, channel=1, quantity=Quantity.THERMISTOR_OPEN, sequence=6
    )
    findings = CHECK.judge(changed, SETUP, 0)
    assert findings.reason[0].startswith("thermistor 1 open is told in only 1 of ")


def test_a_flag_at_a_sane_resistance_fails():
    seen = observed(CHECK, FakeBench(SETUP))
    flagged = with_value(seen, 1.0, step=0, channel=1, quantity=Quantity.THERMISTOR_SHORT)
    assert (
        "thermistor 1 is told as a short circuit with 25 degC injected"
        == CHECK.judge(flagged, SETUP, 0).reason[0]
    )


def test_another_thermistor_told_as_short_fails():
    seen = observed(CHECK, FakeBench(SETUP))
    flagged = with_value(
        with_value(seen, 1.0, step=1, channel=2, quantity=Quantity.THERMISTOR_SHORT),
        0.0,
        step=1,
        channel=2,
        quantity=Quantity.THERMISTOR_OPEN,
    )
    assert (
        "thermistor 2 is told as a short circuit when thermistor 1 is short"
        == CHECK.judge(flagged, SETUP, 0).reason[1]
    )


def test_another_thermistor_that_stays_open_may_say_so():
    assert "" == judged(FakeBoard()).reason[1]


def test_without_the_moment_of_the_change_it_is_not_run():
    seen = without(observed(CHECK, FakeBench(SETUP)), source=Source.SETPOINT)
    assert (Verdict.NOT_RUN,) * 4 == CHECK.judge(seen, SETUP, 0).verdict


def test_a_watch_cut_short_is_not_run():
    seen = observed(CHECK, FakeBench(SETUP, FakeBoard(told_after=None)))
    changed = seen.monotonic[(seen.source == Source.SETPOINT) & (seen.step == 0)].max()
    cut = seen.where((seen.step != 0) | (seen.monotonic < changed + 0.25))
    assert (Verdict.NOT_RUN, "thermistor 1 open was watched for 0.20 s only, not 0.5 s") == (
        CHECK.judge(cut, SETUP, 0).verdict[0],
        CHECK.judge(cut, SETUP, 0).reason[0],
    )


def test_each_visit_starts_from_a_sane_resistance():
    fake = FakeBench(SETUP)
    acquired(CHECK, fake)
    injected = [c[1] for c in fake.calls if c[0] == "set_thermistors"]
    assert [{1: pytest.approx(1e4)}, {1: math.inf}] == injected[:2]


def test_the_watch_ends_when_the_fault_is_told():
    fake = FakeBench(SETUP, FakeBoard(told_after=0.05))
    point = CHECK.points(SETUP, 0)[0]
    record = CHECK.acquire(fake, point, 0)
    assert record.ended_monotonic - record.began_monotonic < 2 * 0.5


def test_looks_that_overlap_are_recorded_once():
    record = CHECK.acquire(FakeBench(SETUP), CHECK.points(SETUP, 0)[0], 0)
    keys = [(o.source, o.quantity, o.channel, o.sequence) for o in record.observations]
    assert len(set(keys)) == len(keys)


def test_two_runs_are_judged_apart():
    seen = joined(
        observed(CHECK, FakeBench(SETUP), run=1),
        observed(CHECK, FakeBench(SETUP, FakeBoard(told_after=None)), run=2),
    )
    verdicts = CHECK.judge(seen, SETUP, 0).verdict
    assert (Verdict.PASS,) * 4 + (Verdict.FAIL,) * 4 == verdicts


SENTINELS = declared(-60.0, 150.0)


def test_a_flag_beside_a_believable_temperature_fails_where_a_reading_is_declared():
    findings = judged(FakeBoard(fault_celsius=25.0), SENTINELS)
    assert (Verdict.FAIL, "thermistor 1 open: flag raised but still shows 25.0 degC") == (
        findings.verdict[0],
        findings.reason[0],
    )


@pytest.mark.parametrize(
    "celsius", [-60.0, 150.0, math.nan, -41.0], ids=["open", "short", "none", "off the curve"]
)
def test_a_flag_beside_what_no_one_believes_passes(celsius):
    assert (Verdict.PASS,) * 4 == judged(FakeBoard(fault_celsius=celsius), SENTINELS).verdict


def test_where_no_reading_is_declared_the_flag_suffices():
    assert Verdict.PASS is judged(FakeBoard(fault_celsius=25.0)).worst()


def test_open_and_short_at_once_is_told_wrongly():
    seen = observed(CHECK, FakeBench(SETUP, FakeBoard(told_after=None)))
    changed = seen.monotonic[(seen.source == Source.SETPOINT) & (seen.step == 0)].max()
    late = (seen.step == 0) & (seen.channel == 1) & (seen.monotonic >= changed)
    flags = np.isin(seen.quantity, (Quantity.THERMISTOR_OPEN, Quantity.THERMISTOR_SHORT))
    both = replace(seen, value=np.where(late & flags, 1.0, seen.value))
    findings = CHECK.judge(both, SETUP, 0)
    assert (Verdict.FAIL, "thermistor 1 open is told as both open and a short circuit") == (
        findings.verdict[0],
        findings.reason[0],
    )


def test_without_frames_before_the_fault_it_is_not_run():
    """A flag stuck up from the start looks like a quick one when nothing was seen before."""
    seen = observed(CHECK, FakeBench(SETUP))
    changed = seen.monotonic[(seen.source == Source.SETPOINT) & (seen.step == 0)].max()
    cut = seen.where((seen.step != 0) | (seen.source != Source.BOARD) | (seen.monotonic >= changed))
    findings = CHECK.judge(cut, SETUP, 0)
    assert Verdict.NOT_RUN is findings.verdict[0]
    assert findings.reason[0].startswith("no frame about thermistor 1 before the open")


class StallingBench(FakeBench):
    """After each look the computer does something else for a while; the board goes on sending."""

    def watch_thermistors(self, seconds):
        seen = super().watch_thermistors(seconds)
        end = self.clock.now() + 0.6
        while self.clock.now() < end:
            self.frames += self._frame(len(self.frames))
        return seen


def test_a_computer_that_stalls_still_watches_to_the_end():
    """What came meanwhile is looked at before the time counts as over."""
    observations = observed(CHECK, StallingBench(SETUP, FakeBoard(told_after=None)))
    findings = CHECK.judge(observations, SETUP, 0)
    assert (Verdict.FAIL,) * 4 == findings.verdict
