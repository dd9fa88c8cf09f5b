"""When frames count as settled: level and no noisier than declared, or noisy and yet level."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np
import pytest

from harness.bench.frame_window import FrameWindow, SettlingDemand, sample_times, settled_frames
from harness.link.board_link import TimedFrame
from harness.observation import FloatArray, Quantity
from harness.protocols.frame_events import GoodFrame

PERIOD_SECONDS = 0.05
NOISE_VOLTS = 0.0005
DEMAND = SettlingDemand(
    stimulus_ended=0.0,
    not_before=0.0,
    deadline=10.0,
    quantity=Quantity.CELL_VOLTAGE,
    channels=frozenset({1, 2}),
    budget=0.0002,
    noise=NOISE_VOLTS,
    time_constant_seconds=0.015,
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


class LatePlayedLink(PlayedLink):
    """Frames arrive late by a share of a period, each by its own."""

    def frames_after(self, monotonic: float) -> list[TimedFrame]:
        late = 0.5 * PERIOD_SECONDS * np.random.default_rng(4).random(len(self.volts))
        return [
            TimedFrame(GoodFrame(tuple(row), i, None, b""), moment, moment)
            for i, row in enumerate(self.volts.tolist())
            if monotonic < (moment := (i + 1) * PERIOD_SECONDS + late[i]) <= self.seconds
        ]


def noisy(*deviations: float, seed: int = 1) -> FloatArray:
    """Four hundred frames of two steady cells with these standard deviations."""
    scatter = np.random.default_rng(seed).standard_normal((400, 2))
    return 3.3 + scatter * np.array(deviations)


def taken_from(volts: FloatArray, count: int = 5) -> tuple[list[TimedFrame], bool]:
    found = watched(volts, count)
    return found.frames, found.did_settle


def watched(volts: FloatArray, count: int = 5, demand: SettlingDemand = DEMAND) -> FrameWindow:
    link = PlayedLink(volts)
    return settled_frames(link, link, demand, count, until=0.0)


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


@pytest.mark.parametrize("seed", [592, 750, 1051, 1301, 1380, 1399])
def test_noise_that_looks_like_a_tail_at_first_is_looked_at_again_soon(seed: int) -> None:
    """Nine noisy frames in a row that fall evenly made the next look wait for the time-out."""
    link = PlayedLink(noisy(NOISE_VOLTS, 10 * NOISE_VOLTS, seed=seed))
    window = settled_frames(link, link, DEMAND, 3, until=0.0)
    assert window.did_settle
    assert window.frames[-1].monotonic <= 2.0


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


def slow_second_cell(tau: float, step: float, deviation: float = NOISE_VOLTS) -> FloatArray:
    """Two cells after a step at time 0, the second behind a filter of `tau`."""
    since = np.arange(1, 401) * PERIOD_SECONDS
    tail = step * np.exp(-since / tau)[:, None] * np.array([0.0, 1.0])
    return noisy(NOISE_VOLTS, deviation) + tail


@pytest.mark.parametrize("tau", [0.05, 0.1, 0.3, 0.6])
def test_a_slower_filter_is_waited_for_until_its_tail_is_gone(tau: float) -> None:
    """The mean of the window is as true as the declared filter's would be: budget / frames."""
    found = watched(slow_second_cell(tau, 0.5))
    assert found.did_settle
    left = 0.5 * np.mean([np.exp(-f.monotonic / tau) for f in found.frames])
    assert left < 2 * DEMAND.budget / 5
    assert pytest.approx(tau, rel=0.25) == found.slow[2]


def test_a_filter_too_slow_for_the_time_out_did_not_settle() -> None:
    """Its slope alone would have been let in: 1.4 mV per window, with 14 mV to go."""
    found = watched(slow_second_cell(2.0, 2.0))
    assert not found.did_settle
    assert pytest.approx(2.0, rel=0.25) == found.slow[2]
    assert found.frames[-1].monotonic < DEMAND.deadline + 6 * PERIOD_SECONDS


def test_a_noisy_slow_channel_is_waited_for_too() -> None:
    found = watched(slow_second_cell(0.3, 0.5, 8 * NOISE_VOLTS))
    assert found.did_settle
    assert found.frames[0].monotonic > 0.3 * np.log(0.5 / 0.005)


@pytest.mark.parametrize("seed", range(20))
def test_a_board_as_declared_is_called_slow_by_no_noise(seed: int) -> None:
    assert not watched(noisy(NOISE_VOLTS, 8 * NOISE_VOLTS, seed=seed)).slow


def test_a_board_whose_declared_wait_passes_the_deadline_is_looked_at_once() -> None:
    late = dataclasses.replace(DEMAND, not_before=15.0)
    found = watched(noisy(NOISE_VOLTS, NOISE_VOLTS), demand=late)
    assert found.frames[-1].monotonic < DEMAND.deadline + 6 * PERIOD_SECONDS


def stamped(stamps: list[float], sequences: list[int | None]) -> list[TimedFrame]:
    return [
        TimedFrame(GoodFrame((3.3, 3.3), sequence, None, b""), stamp, stamp)
        for stamp, sequence in zip(stamps, sequences, strict=True)
    ]


LATE = [0.0, 0.1, 0.24, 0.3, 0.4, 0.5]


def test_late_stamps_are_put_back_on_the_boards_even_schedule() -> None:
    found = sample_times(stamped(LATE, [None] * 6))
    assert [pytest.approx(np.polyfit(range(6), LATE, 1)[0])] * 5 == np.diff(found).tolist()


def test_a_lost_frame_leaves_its_gap_in_the_schedule() -> None:
    stamps = [0.0, 0.1, 0.3, 0.4, 0.5, 0.6]
    found = sample_times(stamped(stamps, [7, 8, 10, 11, 12, 13]))
    assert [pytest.approx(t) for t in stamps] == found.tolist()


def test_stamps_stand_where_no_schedule_fits() -> None:
    """Frames without a number, many lost in the middle."""
    stamps = [0.0, 0.1, 0.2, 1.2, 1.3, 1.4]
    assert stamps == sample_times(stamped(stamps, [None] * 6)).tolist()


def test_a_slow_filter_is_seen_through_late_stamps() -> None:
    """Each frame up to half a period late, while the cell moves by volts per second."""
    volts = slow_second_cell(0.1, 0.5)
    found = settled_frames(link := LatePlayedLink(volts), link, DEMAND, 5, until=0.0)
    assert found.did_settle
    assert pytest.approx(0.1, rel=0.25) == found.slow[2]
    assert abs(np.mean([f.frame.values[1] for f in found.frames]) - 3.3) < 0.001
