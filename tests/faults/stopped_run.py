"""A run in a process of its own, on a twin that lives elsewhere; told what to do on stdin.

Not a test: `test_faults_stopping` starts it and sends it signals. It speaks with the twin only
over sockets and a pseudo-terminal. Exit code 0: finished, 4: stopped by a signal.
"""

from __future__ import annotations

import json
import sys

from harness.bench.opening import open_workbench
from harness.bench.stopping import StopRequested
from harness.descriptions.setup import setup_from_json
from harness.records.run_header import RunKind
from harness.records.store import Store
from harness.run.conduct import RunIdentity, conduct
from harness.timebase import ScaledClock


def main() -> int:
    """Conduct the run and say how it ended."""
    order = json.loads(sys.stdin.read())
    identity = RunIdentity(serial_number="H-0001", kind=RunKind.REHEARSED)
    setup, clock = setup_from_json(order["setup"]), ScaledClock(**order["clock"])
    with Store.open(order["records"]) as store:
        try:
            conduct(setup, store, clock, identity, lambda event: None, open_workbench)
        except StopRequested as stop:
            sys.stdout.write(f"{stop}\n")
            return 4
    return 0


if __name__ == "__main__":
    sys.exit(main())
