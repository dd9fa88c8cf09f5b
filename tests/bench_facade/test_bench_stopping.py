"""Signals end a run once, and never while outputs are being switched off."""

from __future__ import annotations

import os
import signal
import threading
import time
from collections.abc import Iterator

import pytest

from harness.bench.stopping import StopRequested, signals_held, stop_on_signals
from harness.errors import OutputNotOffError


@pytest.fixture(autouse=True)
def another_thread() -> Iterator[None]:
    """A bench always has reader threads; the system may hand them the process's signals."""
    ended = threading.Event()
    thread = threading.Thread(target=ended.wait)
    thread.start()
    yield
    ended.set()
    thread.join()


def send(number: int) -> None:
    """Send a signal to this process and let the interpreter see it.

    The system may hand it to another thread, and a crowded machine may take its time with
    that; each turn gives the interpreter an occasion to run the handler.
    """
    os.kill(os.getpid(), number)
    for _ in range(20):
        time.sleep(0.005)


def test_the_first_signal_stops_the_run() -> None:
    with pytest.raises(StopRequested, match=r"^stopped by SIGTERM$"), stop_on_signals():
        send(signal.SIGTERM)


def stopped_twice(reached: list[str]) -> None:
    with stop_on_signals():
        try:
            send(signal.SIGINT)
        finally:
            send(signal.SIGINT)
            send(signal.SIGTERM)
            reached.append("the end of the way out")


def test_later_signals_are_ignored() -> None:
    reached: list[str] = []
    with pytest.raises(StopRequested):
        stopped_twice(reached)
    assert ["the end of the way out"] == reached


def stopped_while_held(reached: list[str]) -> None:
    with stop_on_signals():
        with signals_held():
            send(signal.SIGTERM)
            reached.append("held")
        reached.append("not reached")


def test_a_held_signal_stops_the_run_afterwards() -> None:
    reached: list[str] = []
    with pytest.raises(StopRequested):
        stopped_while_held(reached)
    assert ["held"] == reached


def failing_while_stopped() -> None:
    with stop_on_signals(), signals_held():
        send(signal.SIGTERM)
        raise OutputNotOffError("supply: switch off by hand")


def test_a_held_signal_never_hides_what_went_wrong_meanwhile() -> None:
    with pytest.raises(OutputNotOffError):
        failing_while_stopped()


def test_a_held_interrupt_without_a_run_is_a_keyboard_interrupt_afterwards() -> None:
    with pytest.raises(KeyboardInterrupt), signals_held():
        send(signal.SIGINT)


def test_handlers_are_given_back() -> None:
    before = {number: signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM)}
    with stop_on_signals(), signals_held():
        pass
    assert before == {number: signal.getsignal(number) for number in before}


def test_a_thread_that_gets_no_signals_holds_none() -> None:
    reached = []

    def body() -> None:
        with stop_on_signals(), signals_held():
            reached.append("there")

    thread = threading.Thread(target=body)
    thread.start()
    thread.join()
    assert ["there"] == reached


def test_a_signal_that_the_process_ignores_stays_ignored() -> None:
    """As under nohup, which ignores SIGHUP so that a run outlives its terminal."""
    before = signal.signal(signal.SIGHUP, signal.SIG_IGN)
    try:
        with stop_on_signals(), signals_held():
            send(signal.SIGHUP)
    finally:
        signal.signal(signal.SIGHUP, before)
