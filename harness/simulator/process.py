"""Starts a twin in a process of its own and speaks with it.

The twin ends with whoever started it, because its standard input closes then. What is behind
its sockets and ports cannot be reached from here except for the summary.
"""

from __future__ import annotations

import json
import subprocess
import sys
from types import TracebackType

from harness.descriptions.setup import Setup
from harness.errors import DescriptionError, MisuseError
from harness.simulator.addresses import Addresses, attached
from harness.simulator.faults import Faults
from harness.simulator.job import TwinJob, job_to_json
from harness.simulator.summary import TwinSummary, summary_from_json
from harness.timebase import ScaledClock

# A twin whose input has closed ends within milliseconds; a busy machine gets more.
END_TIMEOUT_SECONDS = 5.0


class TwinProcess:
    """A twin of `setup` in another process; a context manager that starts and stops it.

    Parameters
    ----------
    faults : what is planted, a healthy bench when left out.
    seed : fixes every draw; speed : of the shared clock, in simulated seconds a second.
    """

    def __init__(
        self, setup: Setup, faults: Faults | None = None, seed: int = 0, speed: float = 1.0
    ) -> None:
        self.clock = ScaledClock(speed)
        self._job = TwinJob(setup, faults or Faults(), seed, self.clock)
        self._process: subprocess.Popen[str] | None = None
        self._addresses: Addresses | None = None

    @property
    def setup(self) -> Setup:
        """The setup with the twin's addresses in place of its own."""
        return attached(self._job.setup, self.addresses)

    @property
    def addresses(self) -> Addresses:
        """Where instruments and board are."""
        if self._addresses is None:
            raise MisuseError("twin: expected to be started, got one that is not")
        return self._addresses

    def start(self) -> TwinProcess:
        """Start the process; returns when every port is open.

        Raises
        ------
        DescriptionError : the twin refused its job, with its reason.
        """
        self._process = subprocess.Popen(
            [sys.executable, "-m", "harness.simulator"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            encoding="utf-8",
            # In the terminal's own group a Ctrl-C would reach the twin while it still starts.
            start_new_session=True,
        )
        try:
            found = json.loads(self._exchange(job_to_json(self._job)))
        except BaseException:
            self.stop()
            raise
        if "error" in found:
            self.stop()
            raise DescriptionError(f"simulated bench: {found['error']}")
        self._addresses = Addresses(
            found["resources"], tuple(found["board_paths"]), found["board_url"]
        )
        return self

    def summary(self) -> TwinSummary:
        """Highest values and counted events so far."""
        return summary_from_json(self._exchange("summary"))

    def _exchange(self, line: str) -> str:
        """Send a line and read the answer's."""
        if self._process is None or not (self._process.stdin and self._process.stdout):
            raise MisuseError("twin: expected to be started, got one that is not")
        try:
            self._process.stdin.write(line + "\n")
            self._process.stdin.flush()
            answer = self._process.stdout.readline()
        except BrokenPipeError:
            answer = ""
        if not answer:
            raise DescriptionError(
                "simulated bench: expected an answer from its process, got its end; "
                "its own message stands above"
            )
        return answer

    def stop(self) -> None:
        """Close the twin's input and wait for its end; kill it, by its own number, if it hangs."""
        process, self._process = self._process, None
        if process is None:
            return
        if process.stdin:
            try:
                process.stdin.close()
            except BrokenPipeError:
                pass  # it has ended already
        try:
            process.wait(END_TIMEOUT_SECONDS)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
        if process.stdout:
            process.stdout.close()

    def __enter__(self) -> TwinProcess:
        return self.start()

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.stop()
