"""A bench without sockets: a supply and a relay card that understand a few commands in memory.

Only what switching on and off needs is there, so that a run takes milliseconds and can be
cut off at every single line of it.
"""

from __future__ import annotations

import dataclasses
import functools
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

import pytest
from twin_runs import setup_of

from harness.bench import opening
from harness.descriptions.setup import Setup
from harness.instruments.wire import WireTimeout

CELLS = 2
NO_ERROR = '+0,"No error"'


@dataclass
class HandClock:
    """A clock that stands still but for `sleep`."""

    seconds: float = 100.0

    def now(self) -> float:
        return self.seconds

    def wall(self) -> float:
        return self.seconds

    def sleep(self, seconds: float) -> None:
        self.seconds += max(0.0, seconds)

    def real_seconds(self, seconds: float) -> float:
        return seconds

    def real_timeout(self, seconds: float) -> float:
        return seconds


@dataclass
class MemoryInstrument:
    """A wire with the instrument behind it; answers are ready as soon as a message was sent."""

    identity: str
    answers: deque[str] = field(default_factory=deque)
    sent: list[str] = field(default_factory=list)

    def send(self, message: bytes) -> None:
        text = message.decode("latin-1")
        self.sent.append(text)
        said = [self.carry_out(unit.strip().lstrip(":")) for unit in text.split(";")]
        spoken = [answer for answer in said if answer is not None]
        if spoken:
            self.answers.append(";".join(spoken))

    def carry_out(self, unit: str) -> str | None:
        """The answer to one program message unit, None when it asks nothing."""
        known = {"*IDN?": self.identity, "*OPC?": "1", "SYST:ERR?": NO_ERROR}
        return known.get(unit)

    def receive(self, timeout_seconds: float) -> bytes:
        if not self.answers:
            raise WireTimeout
        return self.answers.popleft().encode("latin-1")

    def has_input(self) -> bool:
        return bool(self.answers)

    def drain(self) -> None:
        self.answers.clear()

    def reopen(self) -> None:
        self.answers.clear()

    def close(self) -> None:
        """Nothing to close."""


@dataclass
class MemorySupply(MemoryInstrument):
    """Channels with a set-point and an output each; `is_stuck` outputs never fall."""

    selected: int = 1
    volts: dict[int, float] = field(default_factory=dict)
    others: dict[tuple[int, str], str] = field(default_factory=dict)
    on: set[int] = field(default_factory=set)
    highest_on: int = 0
    is_stuck: bool = False

    def carry_out(self, unit: str) -> str | None:
        header, _, value = unit.partition(" ")
        if header == "INST:NSEL":
            self.selected = int(value)
        elif header == "VOLT":
            self.volts[self.selected] = float(value)
        elif header in ("CURR", "VOLT:PROT"):
            self.others[self.selected, header] = value
        elif header == "OUTP":
            (self.on.add if value == "ON" else self.on.discard)(self.selected)
            self.highest_on = max(self.highest_on, len(self.on))
        else:
            return self._answer(header) or super().carry_out(unit)
        return None

    def _answer(self, question: str) -> str:
        channel = self.selected
        is_up = channel in self.on or self.is_stuck
        answers = {
            "VOLT?": str(self.volts.get(channel, 0.0)),
            "OUTP?": str(int(channel in self.on)),
            "MEAS:VOLT?": "3.6" if self.is_stuck else str(self.volts[channel] if is_up else 0.0),
            "MEAS:CURR?": "0.0",
            "VOLT:PROT:TRIP?": "0",
        }
        for header in ("CURR", "VOLT:PROT"):
            answers[f"{header}?"] = self.others.get((channel, header), "0")
        return answers.get(question, "") if question in answers else ""


@dataclass
class MemoryCard(MemoryInstrument):
    """Relays by number."""

    closed: set[str] = field(default_factory=set)

    def carry_out(self, unit: str) -> str | None:
        header, _, value = unit.partition(" ")
        listed = value.removeprefix("(@").removesuffix(")").split(",")
        if header == "ROUT:CLOS":
            self.closed |= set(listed)
        elif header == "ROUT:OPEN":
            self.closed -= set(listed)
        elif header == "ROUT:OPEN:ALL":
            self.closed.clear()
        elif header == "ROUT:CLOS?":
            return ",".join(str(int(relay in self.closed)) for relay in listed)
        else:
            return super().carry_out(unit)
        return None


@dataclass(frozen=True)
class FakeStatistics:
    """A board link that saw nothing."""

    good: int = 0


class FakeLink:
    """A board link that is there."""

    def __init__(self, *args: Any) -> None:
        self.is_closed = False

    def statistics(self) -> FakeStatistics:
        return FakeStatistics()

    def close(self) -> None:
        self.is_closed = True


@contextmanager
def no_lock(*args: Any) -> Iterator[None]:
    """In place of the locks on files."""
    yield


@dataclass
class MemoryBench:
    """The setup of two cells and the instruments that `open_workbench` will find."""

    setup: Setup
    clock: HandClock
    supply: MemorySupply
    card: MemoryCard
    others: dict[str, MemoryInstrument]


@functools.cache
def two_cells() -> Setup:
    """The series bench of the fixtures with two of its cells."""
    setup = setup_of()
    wiring = dataclasses.replace(setup.bench.wiring, cells=CELLS, channels=(1, 2))
    return dataclasses.replace(setup, bench=dataclasses.replace(setup.bench, wiring=wiring))


def memory_bench(monkeypatch: pytest.MonkeyPatch) -> MemoryBench:
    """A fresh bench, put in place of sockets, ports and locks."""
    setup = two_cells()
    names = {entry.role: name for name, entry in setup.bench.instruments.items()}

    def said(role: str) -> str:
        return f"invented,{setup.models[names[role]].identity},0,1"

    made = MemoryBench(
        setup,
        HandClock(),
        MemorySupply(said("supply")),
        MemoryCard(said("switch")),
        {names[role]: MemoryInstrument(said(role)) for role in ("meter", "decade")},
    )
    wires = {names["supply"]: made.supply, names["switch"]: made.card, **made.others}
    monkeypatch.setattr(opening, "open_wire", lambda r, dialogue, library, name: wires[name])
    monkeypatch.setattr(opening, "BoardLink", FakeLink)
    monkeypatch.setattr(opening, "BenchLock", no_lock)
    return made
