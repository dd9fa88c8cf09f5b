"""Signals that end a run become one exception, so that every exit takes the same way out.

SIGINT, SIGTERM and SIGHUP raise `StopRequested` in the main thread once; further ones are
held off while outputs are being switched off, because a second Ctrl-C must not interrupt the
proof of off.
"""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType

STOPPING_SIGNALS = tuple(
    getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name)
)


class StopRequested(BaseException):
    """The operator or the system asked the run to end; `signal_name` says how.

    It derives from BaseException, as KeyboardInterrupt does, so that no handler of ordinary
    errors on the way out takes it for one.
    """

    def __init__(self, signal_name: str) -> None:
        super().__init__(f"stopped by {signal_name}")
        self.signal_name = signal_name


@contextmanager
def stop_on_signals() -> Iterator[None]:
    """Within it, the first stopping signal raises `StopRequested`; later ones are ignored.

    Outside the main thread, where Python allows no handlers, it does nothing.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    was_asked = False

    def on_signal(number: int, _frame: FrameType | None) -> None:
        nonlocal was_asked
        if not was_asked:
            was_asked = True
            raise StopRequested(signal.Signals(number).name)

    with _handled_by(on_signal):
        yield


@contextmanager
def signals_held() -> Iterator[None]:
    """Within it, stopping signals are remembered; the first is delivered afterwards.

    Used around switching off. Masks would not do: the system gives a signal to any thread
    that lets it through, and Python then runs the handler in the main thread all the same.
    When an error leaves this context, that error stands and the signal has had its effect.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    held: list[int] = []
    with _handled_by(lambda number, _frame: held.append(number)):
        yield
    if held:
        signal.raise_signal(held[0])


@contextmanager
def _handled_by(handler: Callable[[int, FrameType | None], None]) -> Iterator[None]:
    """Stopping signals go to `handler`; those that the process ignores stay ignored (nohup)."""
    heeded = [n for n in STOPPING_SIGNALS if signal.getsignal(n) is not signal.SIG_IGN]
    before = {number: signal.signal(number, handler) for number in heeded}
    try:
        yield
    finally:
        for number, earlier in before.items():
            # None stands for a handler that was not set by Python; it cannot be set by it either.
            signal.signal(number, signal.SIG_DFL if earlier is None else earlier)
