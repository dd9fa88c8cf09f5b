"""Open and short circuit of a thermistor: told in time, and never as a plausible temperature.

Each visit begins from a sane resistance (25 degC on the declared curve), then makes the fault
and watches the frames. The board tells a fault by its flag, by its declared reading for it, or
by sending no value; a flag beside a believable temperature is not enough where a reading for
the fault is declared. (Acceptance check "open / short detect": common practice, no source.)
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from harness.bench.capabilities import Capability
from harness.checks.check import Acquired, Bench, PlannedPoint
from harness.checks.samples import BoolArray, visits_of
from harness.checks.statements import Place, fact_findings
from harness.checks.thermistor_states import FrameStates, State, frame_states, telling
from harness.checks.visiting import every_thermistor, merged, recorded
from harness.descriptions.board import ThermistorInput
from harness.descriptions.curve_values import curve_value
from harness.descriptions.plan import ThermistorFaultsSettings
from harness.descriptions.setup import Setup
from harness.errors import MisuseError
from harness.finding import Findings, no_numbers
from harness.metrology.decision import Verdict
from harness.observation import (
    LabelValue,
    Observation,
    Observations,
    PointRecord,
    Quantity,
    Source,
)

# Temperature that is injected before a fault is made.
SANE_CELSIUS = 25.0

# Frames in a row that must say the same before a watch ends early.
STEADY_FRAMES = 3

# Watched beyond the permitted reaction time, in refresh periods, so that a late reaction is
# reported with its time instead of as none.
EXTRA_PERIODS = 3

_BOARD_QUANTITIES = (
    Quantity.TEMPERATURE,
    Quantity.THERMISTOR_OPEN,
    Quantity.THERMISTOR_SHORT,
)


class ThermistorFaultsCheck:
    """The `thermistor-open-short` kind."""

    kind = "thermistor-open-short"

    def needs(self, setup: Setup, index: int) -> frozenset[Capability]:
        """A supply to power the board and a resistance source at every thermistor."""
        return frozenset({Capability.CELL_SOURCE, Capability.DECADE_AT_THERMISTOR})

    def points(self, setup: Setup, index: int) -> tuple[PlannedPoint, ...]:
        """Open, then short, for each thermistor."""
        settings = _settings(setup, index)
        wanted = [
            (thermistor, fault, ohms)
            for thermistor in every_thermistor(setup, settings.thermistors)
            for fault, ohms in (("open", math.inf), ("short", 0.0))
        ]
        extra = EXTRA_PERIODS * setup.board.refresh_seconds
        return tuple(
            PlannedPoint(
                step=step,
                label={"thermistor": thermistor, "fault": fault},
                cell_volts=(settings.cell_volts,) * setup.board.cells,
                thermistor_ohms={thermistor: ohms},
                thermistor=thermistor,
                frames=STEADY_FRAMES,
                watch_seconds=settings.reaction_seconds + extra,
            )
            for step, (thermistor, fault, ohms) in enumerate(wanted)
        )

    def acquire(self, bench: Bench, point: PlannedPoint, index: int) -> PointRecord:
        """From a sane resistance, make the fault and watch until it is told or time is up."""
        began = bench.clock.now()
        if point.thermistor is None or point.thermistor_ohms is None:
            raise MisuseError(f"{self.kind}: expected a point with a thermistor, got {point!r}")
        thermistor, fault = point.thermistor, str(point.label["fault"])
        bench.set_cells(point.cell_volts)
        curve = curve_value(bench.setup.curves[thermistor - 1])
        bench.set_thermistors({thermistor: float(curve.resistance(SANE_CELSIUS))})
        sane = _watch(bench, point, None)
        bench.set_thermistors(dict(point.thermistor_ohms))
        faulty = _watch(bench, point, fault)
        return recorded(bench, point, index, began, Acquired(merged((sane, faulty))))

    def judge(self, observations: Observations, setup: Setup, index: int) -> Findings:
        """One finding a run, thermistor and fault; indication is the reaction time."""
        settings = _settings(setup, index)
        visits = visits_of(observations, index)
        limit = settings.reaction_seconds
        looks = [
            _Look(observations.where(rows), setup) for rows in _rows_by_visit(observations, index)
        ]
        stories = [
            _story(look, label, limit, did_settle)
            for look, label, did_settle in zip(
                looks, visits.labels, visits.did_settle.tolist(), strict=True
            )
        ]
        place = Place(
            check=self.kind,
            check_index=index,
            subject="thermistor",
            unit="s",
            run=visits.run,
            step=visits.step,
            channel=np.array([int(label["thermistor"]) for label in visits.labels], dtype=np.int64),
            point=tuple(str(label["fault"]) for label in visits.labels),
            nominal=no_numbers(len(visits)),
        )
        return fact_findings(
            place,
            indication=np.array([s.reaction_seconds for s in stories], dtype=np.float64),
            reference=np.zeros(len(visits)),
            limit=np.full(len(visits), limit),
            verdict=tuple(s.verdict for s in stories),
            reason=tuple(s.reason for s in stories),
        )


def _settings(setup: Setup, index: int) -> ThermistorFaultsSettings:
    settings = setup.plan.check[index]
    if not isinstance(settings, ThermistorFaultsSettings):
        raise MisuseError(f"check {index}: expected thermistor-open-short, got {settings.kind}")
    return settings


def _watch(bench: Bench, point: PlannedPoint, fault: str | None) -> tuple[Observation, ...]:
    """Frames until the last few all tell `fault`, or the point's time is up.

    With None they are to show a temperature. It only ends looking early; whether what was seen
    is right is for `judge`.
    """
    changed = bench.clock.now()
    deadline = changed + point.watch_seconds
    period = bench.setup.board.refresh_seconds
    next_look = point.frames * period
    seen: tuple[Observation, ...] = ()
    while True:
        left = deadline - bench.clock.now()
        look = min(next_look, max(left, 0.0))
        seen = merged((seen, bench.watch_thermistors(look).observations))
        # The clock may pass the deadline behind a look; only one that reached it is the last.
        if _is_steady(seen, bench.setup, point, fault, changed) or look >= left:
            return seen
        next_look = period


def _is_steady(
    seen: Sequence[Observation],
    setup: Setup,
    point: PlannedPoint,
    fault: str | None,
    changed: float,
) -> bool:
    thermistor = point.thermistor or 0
    rows = [
        o
        for o in seen
        if o.source == Source.BOARD
        and o.channel == thermistor
        and o.monotonic > changed
        and o.quantity in _BOARD_QUANTITIES
    ]
    declared = setup.board.thermistors[thermistor - 1]
    states = frame_states(
        np.array([o.monotonic for o in rows]),
        np.array([int(o.quantity) for o in rows], dtype=np.int64),
        np.array([o.value for o in rows]),
        declared,
        _span(setup, thermistor),
    )
    is_sane = states.state == State.TEMPERATURE
    last = (is_sane if fault is None else states.tells(fault, declared))[-point.frames :]
    return len(last) == point.frames and bool(last.all())


def _span(setup: Setup, thermistor: int) -> tuple[float, float]:
    """The temperatures between which the thermistor's curve holds, degrees Celsius."""
    curve = setup.curves[thermistor - 1]
    return curve.lowest_celsius, curve.highest_celsius


def _rows_by_visit(observations: Observations, index: int) -> list[np.ndarray]:
    """Row numbers of each visit of check `index`, in the order of `visits_of`."""
    rows = np.flatnonzero(observations.check == index)
    order = np.lexsort((observations.step[rows], observations.run[rows]))
    rows = rows[order]
    changes = np.flatnonzero(
        (np.diff(observations.run[rows]) != 0) | (np.diff(observations.step[rows]) != 0)
    )
    return np.split(rows, changes + 1) if len(rows) else []


class _Look:
    """The rows of one visit."""

    def __init__(self, rows: Observations, setup: Setup) -> None:
        self._rows, self._setup = rows, setup

    @property
    def thermistors(self) -> range:
        """Numbers of all thermistors of the board."""
        return range(1, len(self._setup.board.thermistors) + 1)

    def changed_at(self, thermistor: int) -> float:
        """Moment at which the resistance at `thermistor` was last changed, NaN if unknown."""
        times = self._rows.monotonic[self._set_points(thermistor)]
        return float(times.max()) if len(times) else math.nan

    def is_held(self, thermistor: int) -> bool:
        """Whether a finite resistance was set there throughout."""
        values = self._rows.value[self._set_points(thermistor)]
        return len(values) > 0 and bool(np.isfinite(values).all()) and bool((values > 0).all())

    def states(self, thermistor: int) -> FrameStates:
        """What the board's frames say about `thermistor`."""
        rows = (
            (self._rows.source == Source.BOARD)
            & (self._rows.channel == thermistor)
            & np.isin(self._rows.quantity, _BOARD_QUANTITIES)
        )
        return frame_states(
            self._rows.monotonic[rows],
            self._rows.quantity[rows],
            self._rows.value[rows],
            self.declared(thermistor),
            _span(self._setup, thermistor),
        )

    def declared(self, thermistor: int) -> ThermistorInput:
        """What the board's description says of `thermistor`."""
        return self._setup.board.thermistors[thermistor - 1]

    def _set_points(self, thermistor: int) -> np.ndarray:
        found: np.ndarray = (
            (self._rows.source == Source.SETPOINT)
            & (self._rows.quantity == Quantity.RESISTANCE)
            & (self._rows.channel == thermistor)
        )
        return found


@dataclass(frozen=True)
class _Story:
    verdict: Verdict
    reason: str
    reaction_seconds: float = math.nan


_NAMES = {
    State.TEMPERATURE: "a temperature",
    State.OPEN: "open",
    State.SHORT: "a short circuit",
    State.NO_VALUE: "no value",
    State.BOTH: "both open and a short circuit",
}


def _story(look: _Look, label: Mapping[str, LabelValue], limit: float, did_settle: bool) -> _Story:
    """What one visit amounts to."""
    thermistor, fault = int(label["thermistor"]), str(label["fault"])
    changed = look.changed_at(thermistor)
    if math.isnan(changed):
        return _Story(Verdict.NOT_RUN, f"the moment of the {fault} is not recorded")
    states = look.states(thermistor)
    before, after = states.before(changed), states.after(changed)
    if not len(after.state):
        return _Story(Verdict.NOT_RUN, f"no frame about thermistor {thermistor} after the {fault}")
    if not did_settle:
        return _Story(Verdict.CANNOT_DECIDE, "did not settle")
    if not len(before.state):
        return _Story(
            Verdict.NOT_RUN,
            f"no frame about thermistor {thermistor} before the {fault}: whether it was told "
            "already is not known",
        )
    if before.state[-1] != State.TEMPERATURE:
        told = _NAMES[State(before.state[-1])]
        return _Story(
            Verdict.FAIL,
            f"thermistor {thermistor} is told as {told} with {SANE_CELSIUS:g} degC injected",
        )
    declared = look.declared(thermistor)
    story = _reaction(thermistor, fault, declared, after, changed, limit)
    others = _others(look, thermistor, fault, changed)
    if others and story.verdict is Verdict.PASS:
        return _Story(Verdict.FAIL, others, story.reaction_seconds)
    return story


def _reaction(
    thermistor: int,
    fault: str,
    declared: ThermistorInput,
    after: FrameStates,
    changed: float,
    limit: float,
) -> _Story:
    """Whether the fault was told in time, and told from then on."""
    is_told = after.tells(fault, declared)
    name = f"thermistor {thermistor} {fault}"
    if not is_told[-1]:
        watched = float(after.monotonic[-1] - changed)
        if watched < limit:
            return _Story(
                Verdict.NOT_RUN, f"{name} was watched for {watched:.2f} s only, not {limit:g} s"
            )
        return _Story(Verdict.FAIL, _untold(name, fault, is_told, after))
    untold = np.flatnonzero(~is_told)
    first = int(untold[-1]) + 1 if len(untold) else 0
    reaction = float(after.monotonic[first] - changed)
    if reaction > limit:
        return _Story(
            Verdict.FAIL, f"{name} is told after {reaction:.2f} s, allowed {limit:g} s", reaction
        )
    return _Story(Verdict.PASS, "", reaction)


def _untold(name: str, fault: str, is_told: BoolArray, after: FrameStates) -> str:
    """A sentence about a fault that the last frame does not tell."""
    last = State(after.state[-1])
    if last in telling(fault):
        return f"{name}: flag raised but still shows {after.celsius[-1]:.1f} degC"
    if last is not State.TEMPERATURE:
        return f"{name} is told as {_NAMES[last]}"
    told = int(is_told.sum())
    if told:
        return f"{name} is told in only {told} of {len(after.state)} frames"
    if np.isnan(after.celsius[-1]):
        return f"{name} raises no flag"
    return f"{name} reads {after.celsius[-1]:.1f} degC with no flag"


def _others(look: _Look, thermistor: int, fault: str, changed: float) -> str:
    """A sentence when another thermistor's state follows this one's fault, else empty.

    A bench with one resistance source leaves the others open, so `open` is right for them;
    it is wrong where a finite resistance was set.
    """
    for other in look.thermistors:
        if other == thermistor:
            continue
        states = look.states(other)
        before, after = states.before(changed).state[-1:], states.after(changed).state
        if look.is_held(other):
            wrong = after != State.TEMPERATURE
        else:
            was_told = bool(np.isin(before, telling("open")).any())
            wrong = np.isin(after, (State.SHORT, State.BOTH))
            wrong |= was_told & (after == State.TEMPERATURE)
        if wrong.any():
            told = _NAMES[State(after[np.flatnonzero(wrong)[0]])]
            return f"thermistor {other} is told as {told} when thermistor {thermistor} is {fault}"
    return ""
