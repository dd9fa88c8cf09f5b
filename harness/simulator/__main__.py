"""A twin in a process of its own: one job on standard input, addresses on standard output.

It answers the line `summary` with one, and ends when its standard input closes, that is, when
whoever started it ends, in whatever way. An interrupt from the keyboard is not for it: the
harness switches outputs off then, and needs its bench for that.
"""

from __future__ import annotations

import asyncio
import json
import signal
import sys
import threading
from collections.abc import Callable
from dataclasses import asdict

from harness.errors import TapproofError
from harness.simulator.core import TwinCore, precise_event_loop
from harness.simulator.job import job_from_json
from harness.simulator.summary import summary_to_json


def main() -> int:
    """Serve until standard input ends; returns the exit code."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    loop = precise_event_loop()
    asyncio.set_event_loop(loop)
    try:
        core = TwinCore(job_from_json(sys.stdin.readline()).settings)
        addresses = loop.run_until_complete(core.start())
    except (TapproofError, ValueError, OSError) as error:
        _say(json.dumps({"error": str(error)}))
        return 2
    _say(json.dumps(asdict(addresses)))

    def answer() -> None:
        _say(summary_to_json(core.summary()))

    threading.Thread(target=_listen, args=(loop, answer), daemon=True).start()
    loop.run_forever()
    core.close()
    loop.run_until_complete(asyncio.sleep(0))
    loop.close()
    return 0


def _listen(loop: asyncio.AbstractEventLoop, answer: Callable[[], None]) -> None:
    """Pass on what comes in; in a thread, because pipes cannot be selected everywhere."""
    for line in sys.stdin:
        if line.strip() == "summary":
            loop.call_soon_threadsafe(answer)
    loop.call_soon_threadsafe(loop.stop)


def _say(line: str) -> None:
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    sys.exit(main())
