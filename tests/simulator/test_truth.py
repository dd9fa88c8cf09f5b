"""What the static truth says must be what the board does."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from simulated_benches import FIXTURES, PERFECT

from harness.descriptions.setup import Setup
from harness.simulator.faults import CellFault, Faults, TapFault, ThermistorFault, read_faults
from harness.simulator.truth import static_truth


def test_the_same_seed_is_the_same_bench(series_setup: Setup) -> None:
    """Two draws agree; another seed gives another bench."""
    volts = np.full(12, 3.3)
    first, again, other = (
        static_truth(series_setup, Faults(), seed).cell_errors(volts) for seed in (7, 7, 8)
    )
    assert first.tolist() == again.tolist()
    assert first.tolist() != other.tolist()


def test_a_healthy_board_is_within_0_3_millivolt(series_setup: Setup) -> None:
    """Over the whole range and many benches."""
    for seed in range(50):
        errors = static_truth(series_setup, Faults(), seed).cell_errors(
            np.linspace(1.8, 3.65, 5)[:, np.newaxis] * np.ones(12)
        )
        assert np.abs(errors).max() < 0.0003


def test_errors_are_uniform_within_their_half_width(series_setup: Setup) -> None:
    """At 0 V only the offset counts: half-width 0.15 mV, deviation half-width / sqrt 3."""
    offsets = np.concatenate(
        [
            static_truth(series_setup, Faults(), seed).cell_errors(np.zeros(12))
            for seed in range(200)
        ]
    )
    assert np.abs(offsets).max() <= 0.00015
    assert pytest.approx(0.00015 / np.sqrt(3), rel=0.05) == offsets.std()


def test_planted_cell_error(series_setup: Setup) -> None:
    """Gain and offset add up; the other cells have none."""
    faults = Faults(spread=PERFECT, cell=(CellFault(cell=5, gain=0.004, offset_volts=0.006),))
    errors = static_truth(series_setup, faults, 1).cell_errors(np.full(12, 3.0))
    assert pytest.approx([0.0] * 4 + [0.018] + [0.0] * 7) == errors


def test_demo_board_has_its_two_faults_and_no_other(series_setup: Setup) -> None:
    """Cell 5 about 12 mV high, thermistor 2 beyond 1.5 K at 0, 25 and 60 degC."""
    truth = static_truth(series_setup, read_faults(FIXTURES / "faults/heron-two-faults.toml"), 1)
    errors = truth.cell_errors(np.full(12, 3.3))
    assert pytest.approx(0.012, abs=0.0003) == errors[4]
    assert np.abs(np.delete(errors, 4)).max() < 0.0003
    for ohms in (33_900.0, 10_000.0, 2_460.0):
        assert abs(truth.temperature_error(1, ohms)) < 0.1
        assert truth.temperature_error(2, ohms) > 1.9


def test_swapped_thermistor_curves_are_its_own(series_setup: Setup) -> None:
    """A perfect input has no error."""
    faults = Faults(spread=PERFECT, thermistor=(ThermistorFault(thermistor=1),))
    assert pytest.approx(0.0) == static_truth(series_setup, faults, 1).temperature_error(1, 5000.0)


def test_meter_share_can_be_planted(series_setup: Setup) -> None:
    """`accuracy_draw` replaces the drawn share."""
    faults = read_faults(FIXTURES / "faults/healthy.toml")
    planted = dataclasses.replace(
        faults,
        instrument={"meter": {"accuracy_draw": 0.5}},  # type: ignore[dict-item]
    )
    assert static_truth(series_setup, planted, 1).meter_share("meter") == 0.5


def test_a_cracked_joint_moves_the_two_cells_of_its_tap(series_setup: Setup) -> None:
    """What tap 5 draws drops behind its pin: cell 5 reads low by it and cell 6 high."""
    faults = Faults(spread=PERFECT, tap=(TapFault(tap=5, board_ohms=10_000.0),))
    drop = 10_000.0 * series_setup.board.cell_inputs.input_amperes
    errors = static_truth(series_setup, faults, 1).cell_errors(np.full(12, 3.3))
    assert pytest.approx([0.0] * 4 + [-drop, drop] + [0.0] * 6) == errors


def test_a_cracked_joint_at_the_top_moves_the_top_cell_only(series_setup: Setup) -> None:
    faults = Faults(spread=PERFECT, tap=(TapFault(tap=12, board_ohms=10_000.0),))
    errors = static_truth(series_setup, faults, 1).cell_errors(np.full(12, 3.3))
    assert pytest.approx([0.0] * 11 + [-0.01]) == errors
