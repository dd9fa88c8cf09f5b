"""Events that a run emits as it goes; faces show them, the record keeps some."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from harness.observation import PointRecord


@dataclass(frozen=True)
class CheckStarted:
    """A check begins; `points` of it will be visited."""

    check: str
    check_index: int
    points: int


@dataclass(frozen=True)
class CheckNotRun:
    """A check cannot be run on this bench."""

    check: str
    check_index: int
    reason: str


@dataclass(frozen=True)
class PointDone:
    """A point is acquired and durable."""

    check: str
    check_index: int
    point: PointRecord
    seconds_taken: float
    seconds_left: float


@dataclass(frozen=True)
class Noted:
    """Something for the record: kind, text and data."""

    kind: str
    text: str


ProgressEvent = CheckStarted | CheckNotRun | PointDone | Noted
ReportProgress = Callable[[ProgressEvent], None]
