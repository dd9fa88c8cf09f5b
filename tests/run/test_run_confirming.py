"""A point is kept only after the source was seen to hold."""

from __future__ import annotations

from dataclasses import dataclass, field
from types import SimpleNamespace
from typing import Any

import pytest

from harness.errors import SafetyError
from harness.observation import PointRecord
from harness.run import executor
from harness.run.executor import PlannedCheck, run_plan

POINT = PointRecord(0, 0, {}, ())


@dataclass
class Noting:
    """A check, a bench and a record in one, which note what is asked of them."""

    calls: list[str] = field(default_factory=list)
    gives_way: bool = False
    clock: Any = field(default_factory=lambda: SimpleNamespace(now=lambda: 0.0))

    def acquire(self, bench: Any, point: Any, index: int) -> PointRecord:
        self.calls.append("acquire")
        return POINT

    def confirm_source(self) -> None:
        self.calls.append("confirm")
        if self.gives_way:
            raise SafetyError("supply: channel 3: constant current")

    def point(self, record: PointRecord) -> None:
        self.calls.append("keep")


def run_one_point(monkeypatch: pytest.MonkeyPatch, noting: Noting) -> None:
    planned = (PlannedCheck("noise", 0, (None,)),)
    monkeypatch.setattr(executor, "plan_checks", lambda setup: planned)
    monkeypatch.setattr(executor, "run_floor", lambda setup, points: ())
    monkeypatch.setattr(executor, "floor_seconds", lambda floors: 1.0)
    monkeypatch.setattr(executor, "check_of_kind", lambda kind: noting)
    run_plan(None, noting, noting, lambda event: None)


def test_the_source_is_looked_at_between_measuring_and_keeping(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    noting = Noting()
    run_one_point(monkeypatch, noting)
    assert ["acquire", "confirm", "keep"] == noting.calls


def test_a_point_whose_source_gave_way_is_not_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    noting = Noting(gives_way=True)
    with pytest.raises(SafetyError, match="constant current"):
        run_one_point(monkeypatch, noting)
    assert ["acquire", "confirm"] == noting.calls
