"""What every planted fault must leave behind: outputs off, bounds and points kept, plain words."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from twin_runs import TwinRun

from harness.descriptions.bench import Ceilings
from harness.finding import Finding
from harness.metrology.decision import Verdict
from harness.records.run_header import RunState
from harness.run.progress import PointDone, ProgressEvent

# The current limit of a healthy supply holds to its own setting accuracy.
LIMIT_ACCURACY = 1.01


@dataclass
class Progress:
    """Counts finished points and may act at one of them."""

    act_after: int = 0
    act: Callable[[], None] = lambda: None
    points: int = field(default=0, init=False)

    def __call__(self, event: ProgressEvent) -> None:
        if isinstance(event, PointDone):
            self.points += 1
            if self.points == self.act_after:
                self.act()


def assert_safe(run: TwinRun, ceilings: Ceilings) -> None:
    """The bench's own log: off at the end, no bound passed, limits set before on, no short."""
    seen = run.seen
    assert () == seen.outputs_on
    assert all(abs(volts) < ceilings.off_volts for volts in seen.channel_volts)
    assert seen.highest_cell_volts <= ceilings.cell_volts
    assert seen.highest_total_volts <= ceilings.total_volts
    assert seen.highest_amperes <= ceilings.channel_amperes * LIMIT_ACCURACY
    assert () == seen.unprotected_starts
    assert () == seen.forbidden_relays


def assert_told(error: BaseException | None, kind: type[BaseException], *parts: str) -> None:
    """The error is of its kind, and its text holds these parts in this order."""
    assert type(error) is kind, f"expected {kind.__name__}, got {error!r}"
    text, at = str(error), 0
    for part in parts:
        found = text.find(part, at)
        assert found >= 0, f"expected {part!r} from character {at} of {text!r}"
        at = found + len(part)


def assert_aborted(run: TwinRun, points: int) -> None:
    """The record keeps every point that was told as done, and why the run ended."""
    assert points == run.points
    assert RunState.ABORTED == run.judged.header.state
    assert run.judged.header.end_reason.startswith(str(run.error))
    assert Verdict.ABORTED == run.judged.judgement.verdict()


def assert_measured_off(run: TwinRun) -> None:
    """The record says that outputs were measured off, and how low."""
    (text,) = run.texts("outputs off")
    assert text.startswith("outputs off, measured 0.0")


def not_passed(run: TwinRun, check: str) -> set[int]:
    """Channels with a finding of this check that is no pass."""
    return {f.channel for f in run.findings(check) if f.verdict is not Verdict.PASS}


def failed(run: TwinRun, check: str) -> set[int]:
    """Channels with a failing finding of this check."""
    return {f.channel for f in run.findings(check) if f.verdict is Verdict.FAIL}


def reasons(findings: Sequence[Finding]) -> str:
    """The sentences of these findings, one a line."""
    return "\n".join(f.reason for f in findings)


def verdicts(run: TwinRun) -> dict[str, Verdict]:
    """The verdict of each check of the run."""
    return {check.check: check.verdict() for check in run.judged.judgement.checks}
