"""What a frame says about a thermistor: only what is declared tells a fault."""

from __future__ import annotations

import numpy as np
import pytest

from harness.checks.thermistor_states import State, frame_states, telling
from harness.descriptions.board import ThermistorInput
from harness.observation import Quantity

DECLARED = ThermistorInput(
    name="t", curve="ntc.toml", open_reads_celsius=-60.0, short_reads_celsius=150.0
)
SPAN = (-40.0, 125.0)
PLAIN = ThermistorInput(name="t", curve="ntc.toml")
SPANNED = (PLAIN, SPAN)


def state(celsius=None, is_open=None, is_short=None, declared=PLAIN) -> State:
    rows = [
        (q, v)
        for q, v in (
            (Quantity.TEMPERATURE, celsius),
            (Quantity.THERMISTOR_OPEN, is_open),
            (Quantity.THERMISTOR_SHORT, is_short),
        )
        if v is not None
    ]
    found = frame_states(
        np.zeros(len(rows)),
        np.array([int(q) for q, _ in rows]),
        np.array([float(v) for _, v in rows]),
        declared,
        SPAN,
    )
    return State(found.state[0])


@pytest.mark.parametrize(
    ("seen", "expected"),
    [
        pytest.param({"celsius": 25.0}, State.TEMPERATURE, id="temperature"),
        pytest.param({"celsius": -58.8}, State.TEMPERATURE, id="odd temperature tells nothing"),
        pytest.param({"celsius": 25.0, "is_open": 1}, State.OPEN, id="open flag"),
        pytest.param({"celsius": 25.0, "is_short": 1}, State.SHORT, id="short flag"),
        pytest.param({"celsius": 25.0, "is_open": 0}, State.TEMPERATURE, id="flag down"),
        pytest.param({"celsius": 25.0, "is_open": 1, "is_short": 1}, State.BOTH, id="both"),
        pytest.param({"celsius": np.nan}, State.NO_VALUE, id="no value"),
        pytest.param({"celsius": np.nan, "is_short": 1}, State.SHORT, id="no value, flagged"),
        pytest.param({"celsius": -60.0, "declared": DECLARED}, State.OPEN, id="declared open"),
        pytest.param({"celsius": 149.9, "declared": DECLARED}, State.SHORT, id="within a step"),
        pytest.param({"celsius": 149.8, "declared": DECLARED}, State.TEMPERATURE, id="two steps"),
        pytest.param(
            {"celsius": -60.0, "is_short": 1, "declared": DECLARED},
            State.SHORT,
            id="flag before reading",
        ),
        pytest.param({"is_open": 0}, State.TEMPERATURE, id="flags only"),
    ],
)
def test_a_frame_says(seen, expected):
    assert expected is state(**seen)


def test_frames_stand_in_order_of_time():
    quantity = np.full(3, int(Quantity.TEMPERATURE))
    found = frame_states(
        np.array([3.0, 1.0, 2.0]), quantity, np.array([30.0, 10.0, 20.0]), PLAIN, SPAN
    )
    assert [10.0, 20.0, 30.0] == found.celsius.tolist()


def test_a_moment_parts_the_frames():
    quantity = np.full(3, int(Quantity.TEMPERATURE))
    found = frame_states(
        np.array([1.0, 2.0, 3.0]), quantity, np.array([10.0, 20.0, 30.0]), PLAIN, SPAN
    )
    assert ([10.0], [20.0, 30.0]) == (
        found.before(2.0).celsius.tolist(),
        found.after(2.0).celsius.tolist(),
    )


def test_no_value_tells_either_fault():
    assert State.NO_VALUE in telling("open")
    assert State.NO_VALUE in telling("short")
