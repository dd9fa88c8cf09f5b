"""The fixed words."""

from __future__ import annotations

from dataclasses import replace

from report_builder import setup

from harness.descriptions.plan import Decision
from harness.report.wording import CAUTIONS, decision_rule_words, method_notes


def test_the_guard_band_is_put_in_words() -> None:
    words = " ".join(decision_rule_words(Decision()))
    assert "coverage probability of 95 %" in words
    assert "guard band w = U" in words
    assert "Conditional pass: |e| is between T \u2212 U and T." in words


def test_simple_acceptance_admits_its_risk() -> None:
    words = " ".join(decision_rule_words(Decision(rule="simple")))
    assert "simple acceptance, no guard band" in words
    assert "guard band w = U" not in words


def test_a_ladder_names_what_it_cannot_tell_apart() -> None:
    notes = " ".join(method_notes(setup()))
    assert "gain error and its common-mode error cannot be told apart" in notes
    assert "a current drawn at one tap shifts every cell" in notes


def test_a_series_bench_is_not_called_a_ladder() -> None:
    assert "Ladder:" not in " ".join(method_notes(setup("narrowboat-series")))


def test_resolution_bounds_what_an_offset_means() -> None:
    """q / sqrt 12 of 1 mV is 0.29 mV."""
    assert "offsets below about 0.3 mV" in " ".join(method_notes(setup()))


def test_thermistor_notes_only_where_they_were_tested() -> None:
    described = setup()
    plan = replace(described.plan, check=described.plan.check[:2])
    assert "declared curve" not in " ".join(method_notes(replace(described, plan=plan)))


def test_cautions_name_the_dangers() -> None:
    words = " ".join(CAUTIONS)
    for danger in ("60 V DC", "live pack", "Bleed resistors", "keep their charge", "Local"):
        assert danger in words
