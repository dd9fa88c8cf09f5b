"""Signals that end a run become one exception, so that every exit takes the same way out.

SIGINT, SIGTERM and SIGHUP raise `StopRequested` in the main thread once; further ones are
held off while outputs are being switched off, because a second Ctrl-C must not interrupt the
proof of off.
"""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
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

    before = {number: signal.signal(number, on_signal) for number in STOPPING_SIGNALS}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


@contextmanager
def signals_held() -> Iterator[None]:
    """Within it, stopping signals are remembered and delivered afterwards.

    Used around switching off. On a platform without signal masks nothing is held.
    """
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, STOPPING_SIGNALS)
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)
