"""How a run ends when its bench, its record or its screen does not play along."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager, contextmanager
from typing import Any

import pytest

from harness.errors import InstrumentError, OutputNotOffError, RecordError, RecordLostError
from harness.run.conduct import RunIdentity, conduct

ReportEvent = Callable[[str, str, Mapping[str, object]], None]


class FullDisk:
    """A store that begins a run whose record then takes nothing more."""

    run_id = "r"

    def __init__(self, takes_end: bool = False) -> None:
        self.ends: list[str] = []
        self._takes_end = takes_end

    def begin_run(self, setup: Any, **kwargs: Any) -> FullDisk:
        return self

    def event(self, kind: str, text: str, data: Mapping[str, object] | None = None) -> None:
        raise RecordError("records.sqlite: cannot keep the event: the disk is full")

    def finish(self, outcome: Any, reason: str = "") -> None:
        if not self._takes_end:
            raise RecordError("records.sqlite: cannot keep the end: the disk is full")
        self.ends.append(reason)


def bench_that(
    act: Callable[[ReportEvent], None],
) -> Callable[[Any, Any, ReportEvent], AbstractContextManager[Any]]:
    """A bench that does something while it is opened."""

    @contextmanager
    def open_bench(setup: Any, clock: Any, report_event: ReportEvent) -> Iterator[None]:
        act(report_event)
        yield

    return open_bench


def run_on(
    store: FullDisk,
    open_bench: Callable[..., AbstractContextManager[Any]],
    report: Callable[[Any], None] = lambda event: None,
) -> None:
    conduct(None, store, None, RunIdentity("x"), report, open_bench)


def note_outputs_on(report_event: ReportEvent) -> None:
    report_event("outputs on", "now on", {})


def test_a_record_lost_in_the_run_is_no_bad_input() -> None:
    """The same words, and that the end could not be kept either."""
    with pytest.raises(RecordLostError, match="cannot keep the event: the disk is full") as caught:
        run_on(FullDisk(), bench_that(note_outputs_on))
    assert [
        "the end of the run could not be recorded either: "
        "records.sqlite: cannot keep the end: the disk is full"
    ] == caught.value.__notes__


def test_a_run_that_cannot_begin_is_bad_input() -> None:
    store = FullDisk()
    store.begin_run = lambda setup, **kwargs: store.event("", "")
    with pytest.raises(RecordError) as caught:
        run_on(store, bench_that(note_outputs_on))
    assert RecordError is type(caught.value)


def test_the_face_hears_what_the_record_cannot_take() -> None:
    heard: list[str] = []
    with pytest.raises(RecordLostError):
        run_on(FullDisk(), bench_that(note_outputs_on), lambda event: heard.append(event.text))
    assert ["now on"] == heard


@contextmanager
def bench_whose_port_does_not_close(*args: Any) -> Iterator[Any]:
    """On leaving, an output is not off, and then another fault is raised over it."""
    try:
        raise InstrumentError("meter: silent")
    finally:
        try:
            raise OutputNotOffError("supply: switch off by hand")
        finally:
            raise OSError("port does not close")


def test_the_record_keeps_that_an_output_is_not_off_whatever_came_later() -> None:
    store = FullDisk(takes_end=True)
    with pytest.raises(OSError, match="port does not close"):
        run_on(store, bench_whose_port_does_not_close)
    assert [
        "supply: switch off by hand; what had ended the run before that: meter: silent"
    ] == store.ends
