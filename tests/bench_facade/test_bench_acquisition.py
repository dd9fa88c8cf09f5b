"""When frames count as settled: level and no noisier than declared, or noisy and yet level."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from harness.bench.acquisition import SettlingDemand, settled_frames
from harness.link.board_link import TimedFrame
from harness.observation import FloatArray, Quantity
from harness.protocols.frame_events import GoodFrame

PERIOD_SECONDS = 0.05
NOISE_VOLTS = 0.0005
DEMAND = SettlingDemand(
    not_before=0.0,
    quantity=Quantity.CELL_VOLTAGE,
    channels=frozenset({1, 2}),
    budget=0.0002,
    noise=NOISE_VOLTS,
    timeout_seconds=10.0,
)


@dataclass
class PlayedLink:
    """A link that plays rows of two cell voltages, one a period; waiting moves its clock."""

    volts: FloatArray
    seconds: float = 0.0
    columns = ((Quantity.CELL_VOLTAGE, 1), (Quantity.CELL_VOLTAGE, 2))

    def now(self) -> float:
        return self.seconds

    def frames_after(self, monotonic: float) -> list[TimedFrame]:
        return [
            TimedFrame(GoodFrame(tuple(row), None, None, b""), moment, moment)
            for i, row in enumerate(self.volts.tolist())
            if monotonic < (moment := (i + 1) * PERIOD_SECONDS) <= self.seconds
        ]

    def wait_for_frames(self, count: int, after: float) -> list[TimedFrame]:
        while len(found := self.frames_after(after)) < count:
            self.seconds += PERIOD_SECONDS
        return found


def noisy(*deviations: float, seed: int = 1) -> FloatArray:
    """Four hundred frames of two steady cells with these standard deviations."""
    scatter = np.random.default_rng(seed).standard_normal((400, 2))
    return 3.3 + scatter * np.array(deviations)


def taken_from(volts: FloatArray, count: int = 5) -> tuple[list[TimedFrame], bool]:
    link = PlayedLink(volts)
    return settled_frames(link, link, DEMAND, count, until=0.0)


def test_a_quiet_board_settles_in_its_first_window() -> None:
    frames, did_settle = taken_from(noisy(NOISE_VOLTS, NOISE_VOLTS))
    assert (5, True) == (len(frames), did_settle)


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("ratio", [1.6, 8.0])
@pytest.mark.parametrize("count", [5, 64])
def test_one_channel_noisier_than_declared_holds_up_no_board(
    ratio: float, count: int, seed: int
) -> None:
    """Scatter is for repeatability and the noise check to judge; only drift is unsettled."""
    frames, did_settle = taken_from(noisy(NOISE_VOLTS, ratio * NOISE_VOLTS, seed=seed), count)
    assert did_settle
    assert frames[-1].monotonic <= (count + 30) * PERIOD_SECONDS


@pytest.mark.parametrize("deviation", [NOISE_VOLTS, 8 * NOISE_VOLTS])
def test_a_drifting_channel_is_never_settled(deviation: float) -> None:
    drift = np.linspace(0.0, 1.0, 400)[:, None] * np.array([0.0, 2.0])
    assert not taken_from(noisy(NOISE_VOLTS, deviation) + drift)[1]


@pytest.mark.parametrize("seed", range(5))
def test_the_rest_of_a_transient_is_not_taken_for_noise(seed: int) -> None:
    """The first frames after a step are still 8 mV off: the window must leave them out."""
    volts = noisy(NOISE_VOLTS, NOISE_VOLTS, seed=seed)
    volts[:2] += np.array([[0.008], [0.003]])
    frames, did_settle = taken_from(volts, count=16)
    assert did_settle
    assert frames[0].monotonic > PERIOD_SECONDS
