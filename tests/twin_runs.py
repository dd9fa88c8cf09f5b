"""Measures a simulated board through the whole stack, for tests.

Everything goes through real sockets and a real pseudo-terminal; only the test, never the
harness, may look at what the twin saw.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from harness.bench.opening import open_workbench
from harness.bench.stopping import StopRequested
from harness.descriptions.plan import CheckSettings
from harness.descriptions.reading import read_setup
from harness.descriptions.setup import Setup
from harness.errors import TapproofError
from harness.finding import Finding
from harness.records.run_header import Event, RunKind
from harness.records.store import Store
from harness.run.conduct import RunIdentity, conduct
from harness.run.executor import RunTiming
from harness.run.progress import ProgressEvent
from harness.run.rejudge import JudgedRun, judge_kept_run
from harness.simulator.faults import Faults
from harness.simulator.settings import TwinSettings
from harness.simulator.summary import TwinSummary
from harness.simulator.twin import Twin
from harness.timebase import ScaledClock

FIXTURES = Path(__file__).parent.parent / "fixtures"

# Two tests in parallel on two cores still keep up with a clock eight times real time.
SPEED = 8.0


@dataclass(frozen=True)
class TwinRun:
    """What became of a run on the twin.

    error : what ended it, None when it was finished; seen : the twin's own log, at the end.
    """

    judged: JudgedRun
    error: BaseException | None
    timing: RunTiming | None
    events: tuple[Event, ...]
    points: int
    seen: TwinSummary

    def findings(self, check: str) -> list[Finding]:
        """All findings of one check."""
        return [f for f in self.judged.judgement.rows() if f.check == check]

    def texts(self, kind: str) -> list[str]:
        """The texts of all kept events of one kind."""
        return [event.text for event in self.events if event.kind == kind]


def setup_of(bench: str = "narrowboat-series", board: str = "heron", plan: str = "quick") -> Setup:
    """A setup from the fixtures by file stems."""
    return read_setup(
        FIXTURES / "benches" / f"{bench}.toml",
        FIXTURES / "boards" / f"{board}.toml",
        FIXTURES / "plans" / f"{plan}.toml",
    )


def with_checks(setup: Setup, *checks: CheckSettings) -> Setup:
    """The setup with these checks in place of its plan's."""
    return dataclasses.replace(setup, plan=dataclasses.replace(setup.plan, check=checks))


def measure_once(
    records: Path,
    setup: Setup,
    faults: Faults | None = None,
    *,
    seed: int = 3,
    speed: float = SPEED,
    on_event: Callable[[ProgressEvent], None] = lambda event: None,
    rewire: Callable[[Setup], Setup] = lambda attached: attached,
    before: Callable[[Twin], None] = lambda twin: None,
    watch: Callable[[Twin, Store], None] = lambda twin, store: None,
    expected: type[BaseException] = TapproofError,
) -> TwinRun:
    """Measure `setup` on its twin with planted faults and keep it in the file `records`.

    Parameters
    ----------
    on_event : told of progress. rewire : may change the setup after the twin's addresses
        have been put in. before : called with the running twin before anything is opened;
        watch : likewise, with the open store too. expected : an error to be caught besides
        the harness's own.
    """
    clock = ScaledClock(speed)
    settings = TwinSettings(setup, faults or Faults(), seed=seed, clock=clock)
    error: BaseException | None = None
    timing = None
    names: list[str] = []
    with Twin(settings) as twin, Store.open(records) as store:
        before(twin)
        watch(twin, store)
        try:
            _, timing = conduct(
                rewire(twin.attach(setup)),
                store,
                clock,
                RunIdentity(serial_number="H-0001", kind=RunKind.REHEARSED),
                on_event,
                open_workbench,
                names.append,
            )
        except (TapproofError, StopRequested, expected) as caught:
            error = caught
        return TwinRun(
            judged=judge_kept_run(store, names[0]),
            error=error,
            timing=timing,
            events=store.events(names[0]),
            points=len(store.points(names[0])),
            seen=twin.truth.summary(),
        )
