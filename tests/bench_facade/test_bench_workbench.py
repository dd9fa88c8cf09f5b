"""Reference and frames belong together, and nothing is read before it stands; on the twin."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from twin_runs import TwinRun, setup_of, with_checks

from harness.descriptions.plan import (
    CellAccuracySettings,
    MappingSettings,
    StackTotalSettings,
    ThermistorAccuracySettings,
)
from harness.descriptions.setup import Setup
from harness.observation import PointRecord, Quantity, Source

POINTS = (2.5, 2.6, 2.7, 2.8, 2.9)


def filtered(setup: Setup, tau: float) -> Setup:
    """The setup of a board that declares this time constant of its cell inputs and has it."""
    inputs = dataclasses.replace(setup.board.cell_inputs, filter_time_constant_seconds=tau)
    return dataclasses.replace(setup, board=dataclasses.replace(setup.board, cell_inputs=inputs))


def points_of(measure_on_twin, setup: Setup) -> tuple[PointRecord, ...]:
    kept: list[PointRecord] = []
    run: TwinRun = measure_on_twin(
        setup,
        speed=4.0,
        on_event=lambda event: kept.append(event.point) if hasattr(event, "point") else None,
    )
    assert run.error is None
    return tuple(kept)


def times(point: PointRecord, source: Source, quantity: Quantity) -> np.ndarray:
    return np.array(
        [o.monotonic for o in point.observations if (o.source, o.quantity) == (source, quantity)]
    )


@pytest.mark.parametrize("tau", [0.015, 0.3])
@pytest.mark.parametrize("cells", [None, (4,)], ids=["all cells", "one cell"])
def test_readings_enclose_the_frames(measure_on_twin, tau: float, cells) -> None:
    """The meter begins while the board sends and ends after it."""
    check = CellAccuracySettings(
        kind="cell-accuracy", points_volts=POINTS, directions=("up",), cells=cells
    )
    setup = filtered(with_checks(setup_of(), check), tau)
    for point in points_of(measure_on_twin, setup):
        reference = times(point, Source.REFERENCE, Quantity.CELL_VOLTAGE)
        board = times(point, Source.BOARD, Quantity.CELL_VOLTAGE)
        assert point.did_settle
        assert reference.min() < board.max()
        assert reference.max() > board.max()
        assert board.min() - reference.min() < 1.0  # it has waited for the filter, 2 s and more


def test_the_first_cell_is_read_again_after_all_others(measure_on_twin) -> None:
    check = CellAccuracySettings(kind="cell-accuracy", points_volts=POINTS, directions=("up",))
    for point in points_of(measure_on_twin, with_checks(setup_of(), check)):
        readings = [o for o in point.observations if o.source == Source.REFERENCE]
        newest = max(readings, key=lambda o: o.monotonic)
        assert (1, 1, 13) == (newest.channel, newest.sequence, len(readings))


def test_a_stack_alone_is_read_again_after_the_frames(measure_on_twin) -> None:
    setup = with_checks(setup_of(), StackTotalSettings(kind="stack-total", points_volts=(2.5, 3.0)))
    paths = dataclasses.replace(setup.bench.paths, meter_at_cell=())
    setup = dataclasses.replace(setup, bench=dataclasses.replace(setup.bench, paths=paths))
    for point in points_of(measure_on_twin, setup):
        reference = times(point, Source.REFERENCE, Quantity.STACK_VOLTAGE)
        assert 2 == len(reference)
        assert reference.max() > times(point, Source.BOARD, Quantity.STACK_VOLTAGE).max()


def test_a_moved_cell_is_read_once(measure_on_twin) -> None:
    setup = with_checks(setup_of(), MappingSettings(kind="mapping"))
    _, *moves = points_of(measure_on_twin, setup)
    assert [1] * 12 == [
        len(times(point, Source.REFERENCE, Quantity.CELL_VOLTAGE)) for point in moves
    ]


def test_a_slow_decade_is_waited_for(measure_on_twin) -> None:
    """Half a second of settling, before frames count and before the meter reads it."""
    setup = with_checks(
        setup_of(),
        ThermistorAccuracySettings(
            kind="thermistor-accuracy",
            points_celsius=(0.0, 15.0, 25.0, 40.0, 60.0),
            thermistors=(1,),
        ),
    )
    model = dataclasses.replace(setup.models["decade"], settling_seconds=0.5)
    setup = dataclasses.replace(setup, models={**setup.models, "decade": model})
    for point in points_of(measure_on_twin, setup):
        first = times(point, Source.BOARD, Quantity.TEMPERATURE).min()
        read = times(point, Source.REFERENCE, Quantity.RESISTANCE).min()
        assert first > point.began_monotonic + 0.5
        assert read > point.began_monotonic + 0.5
