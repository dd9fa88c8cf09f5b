"""A stop that comes while a record is being written leaves the record whole and writable."""

from __future__ import annotations

import os
import signal
import sys
import threading
from pathlib import Path

import pytest
from records_samples import small_setup

from harness.bench.stopping import StopRequested, stop_on_signals
from harness.records.run_header import Outcome, RunState
from harness.records.store import Store
from harness.records.writing import RunWriter
from harness.timebase import RealClock


def write_until_stopped(writer: RunWriter, delay_seconds: float) -> None:
    """Keep writing; a SIGTERM comes after `delay_seconds`."""
    timer = threading.Timer(delay_seconds, os.kill, (os.getpid(), signal.SIGTERM))
    with stop_on_signals():
        timer.start()
        while True:
            writer.event("tick", "writing all the time")


@pytest.mark.skipif(sys.platform == "win32", reason="Windows sends no such signals")
@pytest.mark.parametrize("delay_seconds", [0.001, 0.003, 0.006, 0.011, 0.02, 0.035])
def test_a_stop_amid_writing_leaves_the_end_writable(tmp_path: Path, delay_seconds: float) -> None:
    """Raised inside the driver it would leave the lock with the traceback."""
    with Store.open(tmp_path / "r.sqlite", busy_timeout_seconds=0.2) as store:
        writer = store.begin_run(small_setup(), clock=RealClock(), serial_number="x")
        with pytest.raises(StopRequested):
            write_until_stopped(writer, delay_seconds)
        writer.finish(Outcome.ABORTED, "stopped")
        assert RunState.ABORTED is store.header(writer.run_id).state
