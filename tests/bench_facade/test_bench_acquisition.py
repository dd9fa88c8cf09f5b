"""Meter readings and board frames become observations; nothing is averaged or dropped."""

from __future__ import annotations

import math
from types import SimpleNamespace

import pytest

from harness.bench.acquisition import (
    drift_between,
    frame_observations,
    reading_value,
    reference_observations,
)
from harness.link.board_link import TimedFrame
from harness.observation import Observation, Quantity, Source
from harness.protocols.scpi_reply import Reading, ReadingState

CLOCK = SimpleNamespace(now=lambda: 12.5, wall=lambda: 1.7724e9)
COLUMNS = (
    (Quantity.CELL_VOLTAGE, 1),
    ("sequence", 0),
    (Quantity.TEMPERATURE, 2),
    (Quantity.CURRENT, 0),
)


def good(value: float) -> Reading:
    """A reading as the meter's text gave it."""
    return Reading(value, ReadingState.GOOD, f"{value:+.6E}")


def frame(*values: float, at: float = 10.0) -> TimedFrame:
    """A frame that arrived at this time."""
    told = SimpleNamespace(values=values, raw_text="3.301,7,25.1,0.2")
    return TimedFrame(told, at, 1.7e9 + at)  # type: ignore[arg-type]


@pytest.mark.parametrize("state", [s for s in ReadingState if s is not ReadingState.GOOD])
def test_what_is_no_number_is_nan(state: ReadingState) -> None:
    """9.9E37 (overload) and 9.91E37 (not a number) of SCPI-1999 are never taken for volts."""
    assert math.isnan(reading_value(Reading(9.9e37, state, "9.9E37")))


def test_the_raw_text_tells_why_there_is_no_number() -> None:
    overload = next(s for s in ReadingState if s is not ReadingState.GOOD)
    reading = Reading(9.9e37, overload, "+9.90000000E+37")
    (seen,) = reference_observations([reading], Quantity.CELL_VOLTAGE, 3, CLOCK)
    assert (True, "+9.90000000E+37") == (math.isnan(seen.value), seen.raw)


def test_readings_are_numbered_on() -> None:
    """The end of a bracket goes on where its beginning stopped."""
    seen = reference_observations([good(3.3), good(3.4)], Quantity.CELL_VOLTAGE, 5, CLOCK, 2)
    assert [
        Observation(Source.REFERENCE, Quantity.CELL_VOLTAGE, 5, i, v, 1.7724e9, 12.5, f"{v:+.6E}")
        for i, v in ((2, 3.3), (3, 3.4))
    ] == seen


def test_a_set_point_is_told_from_a_measurement() -> None:
    (seen,) = reference_observations(
        [good(1e4)], Quantity.RESISTANCE, 1, CLOCK, source=Source.SETPOINT
    )
    assert Source.SETPOINT is seen.source


def test_only_measured_quantities_of_a_frame_become_observations() -> None:
    """A sequence number is the link's own; what no check asks of a board is left alone."""
    seen = frame_observations([frame(3.301, 7.0, 25.1, 0.2)], COLUMNS)
    assert [(Quantity.CELL_VOLTAGE, 1, 3.301), (Quantity.TEMPERATURE, 2, 25.1)] == [
        (o.quantity, o.channel, o.value) for o in seen
    ]


def test_a_frames_text_is_kept_once() -> None:
    seen = frame_observations([frame(3.301, 7.0, 25.1, 0.2)], COLUMNS)
    assert ["3.301,7,25.1,0.2", ""] == [o.raw for o in seen]


def test_frames_are_numbered_and_keep_their_time() -> None:
    frames = [frame(3.301, 7.0, 25.1, 0.2, at=at) for at in (10.0, 10.25)]
    assert [(0, 10.0), (0, 10.0), (1, 10.25), (1, 10.25)] == [
        (o.sequence, o.monotonic) for o in frame_observations(frames, COLUMNS)
    ]


def test_no_frames_give_no_observations() -> None:
    assert [] == frame_observations([], COLUMNS)


def seen(*values: float) -> list[Observation]:
    """Reference readings of one path."""
    return reference_observations([good(v) for v in values], Quantity.CELL_VOLTAGE, 1, CLOCK)


def test_drift_is_the_change_of_the_mean() -> None:
    assert 0.0015 == pytest.approx(drift_between(seen(3.300, 3.301), seen(3.302)))


def test_drift_downwards_counts_alike() -> None:
    assert 0.002 == pytest.approx(drift_between(seen(3.302), seen(3.300)))


@pytest.mark.parametrize(
    ("first", "again"), [([], seen(3.3)), (seen(3.3), []), (seen(3.3), seen(math.nan))]
)
def test_drift_that_cannot_be_told_is_nan(
    first: list[Observation], again: list[Observation]
) -> None:
    assert math.isnan(drift_between(first, again))
