"""A run is only added to, each point whole or not at all."""

from __future__ import annotations

import datetime
from dataclasses import replace

import numpy as np
import pytest
import sqlalchemy
from records_samples import WALL_AT_ZERO, HandClock, small_point, small_setup

from harness.errors import MisuseError, RecordError
from harness.observation import Observation, PointRecord, Quantity, Source
from harness.records.run_header import Event, InstrumentRecord, Outcome
from harness.records.schema import event, metadata
from harness.records.store import Store
from harness.records.writing import RunWriter, bulk_insert


@pytest.fixture
def writer(store: Store, clock: HandClock) -> RunWriter:
    return store.begin_run(small_setup(), clock=clock, serial_number="H-0007")


METER = InstrumentRecord(
    name="dmm",
    role="meter",
    resource="TCPIP0::192.0.2.4::5025::SOCKET",
    identity="INVENTED,M7,0042,1.0",
    serial="0042",
    calibrated=datetime.date(2026, 2, 1),
    due=datetime.date(2027, 2, 1),
    column="90d",
    certificate="none",
)


def test_instruments_come_back_in_order(store: Store, writer: RunWriter) -> None:
    """Dates stay dates, an uncalibrated instrument has none."""
    bare = InstrumentRecord(name="supply", role="supply", resource="ASRL1::INSTR")
    writer.instrument(METER)
    writer.instrument(bare)
    assert (METER, bare) == store.header(writer.run_id).instruments


def test_an_instrument_is_kept_once(writer: RunWriter) -> None:
    """A second row of that name would contradict the first."""
    writer.instrument(METER)
    with pytest.raises(RecordError, match="cannot keep instrument 'dmm': it contradicts"):
        writer.instrument(replace(METER, serial="0043"))


def test_events_are_stamped_and_numbered(store: Store, writer: RunWriter, clock: HandClock) -> None:
    """Both clocks, the order, and the data as it was."""
    writer.event("retry", "meter did not answer", {"attempt": 1, "command": "READ?"})
    clock.monotonic = 160.5
    writer.event("note", "")
    assert (
        Event(
            0,
            WALL_AT_ZERO + 100.0,
            100.0,
            "retry",
            "meter did not answer",
            {"attempt": 1, "command": "READ?"},
        ),
        Event(1, WALL_AT_ZERO + 160.5, 160.5, "note", "", {}),
    ) == store.events(writer.run_id)


def test_point_times_are_kept_on_both_clocks(store: Store, writer: RunWriter) -> None:
    """Wall times follow from the clock's relation at the moment of keeping."""
    writer.point(small_point(1))
    with store._reading("look") as connection:
        row = connection.exec_driver_sql(
            "SELECT began_monotonic, ended_monotonic, began_wall, ended_wall FROM point"
        ).one()
    assert tuple(row) == (91.0, 91.5, WALL_AT_ZERO + 91.0, WALL_AT_ZERO + 91.5)


def test_each_row_says_its_unit(store: Store, writer: RunWriter) -> None:
    """The unit of the quantity, in words anyone can read without this software."""
    seen = Observation(Source.AMBIENT, Quantity.TEMPERATURE, 0, 0, 23.1, 0.0, 0.0)
    writer.point(PointRecord(0, 0, {}, (seen,)))
    with store._reading("look") as connection:
        row = connection.exec_driver_sql("SELECT source, quantity, unit FROM observation").one()
    assert tuple(row) == ("ambient", "temperature", "degC")


def test_a_point_is_kept_once(store: Store, writer: RunWriter) -> None:
    """A point that is there already is never replaced, and nothing of the second stays."""
    writer.point(small_point(0, count=3))
    with pytest.raises(RecordError) as caught:
        writer.point(small_point(0, count=5))
    assert str(caught.value).startswith(
        f"{store.path}: cannot keep cell-accuracy point 1 (nominal_volts 2.5, direction up):"
        " it contradicts what is already kept"
    )
    assert len(store.observations(writer.run_id)) == 3


def test_a_point_that_fails_half_way_leaves_nothing(store: Store, writer: RunWriter) -> None:
    """The row of the point and all its observations are one transaction."""
    good = small_point(0)
    broken = replace(good.observations[1], raw=object())  # type: ignore[arg-type]
    with pytest.raises(RecordError):
        writer.point(replace(good, observations=(good.observations[0], broken)))
    assert store.points(writer.run_id) == ()
    writer.point(good)
    assert len(store.points(writer.run_id)) == 1


def test_numpy_numbers_are_kept_as_numbers(store: Store, writer: RunWriter) -> None:
    """Channel, sequence and value may come out of arrays."""
    seen = replace(
        small_point(0).observations[0],
        channel=np.int64(2),  # type: ignore[arg-type]
        sequence=np.int32(3),  # type: ignore[arg-type]
        value=np.float64(3.3),
    )
    writer.point(PointRecord(0, 0, {}, (seen,)))
    (kept,) = store.points(writer.run_id)[0].observations
    assert (kept.channel, kept.sequence, kept.value) == (2, 3, 3.3)
    assert int is type(kept.channel)


def test_a_check_outside_the_plan_is_our_mistake(writer: RunWriter) -> None:
    """The plan has three checks."""
    with pytest.raises(MisuseError, match="expected a check from 0 to 2, got 3"):
        writer.point(small_point(0, check=3))


def test_a_label_without_a_number_is_our_mistake(writer: RunWriter) -> None:
    """NaN in a label would not be JSON and would equal nothing."""
    with pytest.raises(MisuseError, match="expected values JSON can hold"):
        writer.point(PointRecord(0, 0, {"nominal_volts": float("nan")}, ()))


def test_nothing_is_added_after_the_end(store: Store, writer: RunWriter) -> None:
    """Points, events, instruments and a second end are refused."""
    writer.finish(Outcome.ABORTED, "supply lost")
    for add in (
        lambda: writer.point(small_point(0)),
        lambda: writer.event("note", "late"),
        lambda: writer.instrument(METER),
        lambda: writer.finish(Outcome.FINISHED),
    ):
        with pytest.raises(MisuseError, match="the run has ended"):
            add()
    assert len(store.events(writer.run_id)) == 1


@pytest.mark.parametrize("kind", ["finished", "aborted"])
def test_the_end_is_not_written_as_an_event(writer: RunWriter, kind: str) -> None:
    """Only `finish` may say how a run ended."""
    with pytest.raises(MisuseError, match=r"is written by finish\(\)"):
        writer.event(kind, "")


@pytest.mark.parametrize("paramstyle", ["qmark", "named"])
def test_many_rows_go_in_whatever_the_driver_s_style(paramstyle: str) -> None:
    """Drivers with places take tuples at once; drivers with names are given names."""
    engine = sqlalchemy.create_engine("sqlite://", paramstyle=paramstyle)
    metadata.create_all(engine)
    columns = ["monotonic", "wall", "kind", "run", "text", "data", "ordinal"]
    rows = [(0.5, 1.5, "note", 1, "a", "{}", i) for i in range(3)]
    with engine.begin() as connection:
        bulk_insert(connection, event, columns, rows)
        bulk_insert(connection, event, columns, [])
        kept = connection.execute(sqlalchemy.select(*(event.c[name] for name in columns))).all()
    engine.dispose()
    assert rows == [tuple(row) for row in kept]
