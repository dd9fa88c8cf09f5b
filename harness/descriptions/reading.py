"""Description files in, frozen values out; or every fault of every file at once.

`read_setup` is the door: bench, board and plan with the models and curves they name. A name
without a folder and without ".toml" is one of the package's own generic descriptions in
`library/`; anything else is a path from the folder of the file that says it.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Generic, TypeVar

from pydantic import TypeAdapter, ValidationError

from harness.descriptions.bench import BenchDescription
from harness.descriptions.bench_checks import bench_remarks
from harness.descriptions.board import BoardDescription
from harness.descriptions.board_checks import board_remarks
from harness.descriptions.cross_checks import (
    bench_with_board,
    bench_with_models,
    ladder_current,
)
from harness.descriptions.curve import CurveDescription
from harness.descriptions.documents import Document, load_document
from harness.descriptions.faults import (
    DescriptionFaults,
    Fault,
    KeyPath,
    Remark,
    nearest_hint,
)
from harness.descriptions.instrument import InstrumentModel
from harness.descriptions.model_checks import curve_remarks, instrument_remarks
from harness.descriptions.plan import PlanDescription
from harness.descriptions.plan_checks import plan_remarks
from harness.descriptions.plan_cross_checks import (
    plan_with_bench,
    plan_with_board,
    plan_with_curves,
    plan_with_models,
    resistances_with_models,
)
from harness.descriptions.setup import Setup
from harness.descriptions.toml_text import as_toml
from harness.descriptions.translating import remarks_of

LIBRARY = Path(__file__).parent / "library"

Value = TypeVar("Value")


@dataclass(frozen=True)
class Kind(Generic[Value]):
    """One kind of description: its name for messages, its type, and its own further checks."""

    what: str
    adapter: TypeAdapter[Value]
    remarks: Callable[[Value], Iterator[Remark]]


@dataclass(frozen=True)
class Read(Generic[Value]):
    """A value and the document that it was read from; `is_sound` when it breaks no own rule."""

    document: Document
    value: Value
    is_sound: bool


BENCH: Kind[BenchDescription] = Kind(
    "a bench description", TypeAdapter(BenchDescription), bench_remarks
)
BOARD: Kind[BoardDescription] = Kind(
    "a board description", TypeAdapter(BoardDescription), board_remarks
)
PLAN: Kind[PlanDescription] = Kind("a plan", TypeAdapter(PlanDescription), plan_remarks)
INSTRUMENT: Kind[InstrumentModel] = Kind(
    "an instrument model", TypeAdapter(InstrumentModel), instrument_remarks
)
CURVE: Kind[CurveDescription] = Kind(
    "a thermistor curve", TypeAdapter(CurveDescription), curve_remarks
)


@dataclass
class Gathering:
    """Reads files and keeps their faults until all have been read."""

    faults: list[Fault] = field(default_factory=list)
    _seen: dict[str, Read[Any] | None] = field(default_factory=dict)

    def read(self, path: Path, kind: Kind[Value]) -> Read[Value] | None:
        """The value in the file, or None when it is so faulty that there is none.

        A file is read once, however many others name it. A value that breaks a rule beyond
        its type is returned as not sound, so that cross-checks can find what else is wrong.
        """
        if str(path) not in self._seen:
            self._seen[str(path)] = self._read(path, kind)
        return self._seen[str(path)]

    def _read(self, path: Path, kind: Kind[Value]) -> Read[Value] | None:
        try:
            document = load_document(path, kind.what)
        except DescriptionFaults as error:
            self.faults.extend(error.faults)
            return None
        try:
            value = kind.adapter.validate_python(document.data)
        except ValidationError as error:
            self.note(document, remarks_of(error, kind.adapter))
            return None
        remarks = list(kind.remarks(value))
        self.note(document, remarks)
        return Read(document, value, is_sound=not remarks)

    def read_named(
        self, referrer: Document, key: KeyPath, name: str, kind: Kind[Value]
    ) -> Read[Value] | None:
        """The value in the file that `referrer` names at `key`."""
        path = _named_file(referrer.file, name)
        if path.is_file() or _is_path(name):
            if path.exists():
                return self.read(path, kind)
            hint = f"looked for {path}"
        else:
            hint = nearest_hint(name, library_names()) or "a file needs its ending, .toml"
        expected = f"the file of {kind.what} or a name of the library"
        self.note(referrer, [Remark(key, expected, as_toml(name), hint)])
        return None

    def note(self, document: Document, remarks: Iterable[Remark]) -> None:
        """Keep `remarks` as faults of `document`."""
        self.faults.extend(document.faults(remarks))


def library_names() -> list[str]:
    """The names of the package's own instrument models and curves."""
    return sorted(path.stem for path in LIBRARY.glob("*.toml"))


def _is_path(name: str) -> bool:
    return "/" in name or "\\" in name or name.endswith(".toml")


def _named_file(referrer: str, name: str) -> Path:
    if not _is_path(name):
        return LIBRARY / f"{name}.toml"
    return Path(os.path.normpath(Path(referrer).parent / name))


def _read_one(path: Path | str, kind: Kind[Value]) -> Value:
    gathering = Gathering()
    found = gathering.read(Path(path), kind)
    if found is None or gathering.faults:
        raise DescriptionFaults(gathering.faults)
    return found.value


def read_bench(path: Path | str) -> BenchDescription:
    """The bench in a TOML file; its models are not read.

    Raises
    ------
    DescriptionFaults : all faults of the file.
    """
    return _read_one(path, BENCH)


def read_board(path: Path | str) -> BoardDescription:
    """The board in a TOML file; its curves are not read.

    Raises
    ------
    DescriptionFaults : all faults of the file.
    """
    return _read_one(path, BOARD)


def read_plan(path: Path | str) -> PlanDescription:
    """The plan in a TOML file.

    Raises
    ------
    DescriptionFaults : all faults of the file.
    """
    return _read_one(path, PLAN)


def read_instrument_model(path: Path | str) -> InstrumentModel:
    """The instrument model in a TOML file.

    Raises
    ------
    DescriptionFaults : all faults of the file.
    """
    return _read_one(path, INSTRUMENT)


def read_curve(path: Path | str) -> CurveDescription:
    """The thermistor curve in a TOML file.

    Raises
    ------
    DescriptionFaults : all faults of the file.
    """
    return _read_one(path, CURVE)


@dataclass
class _Parts:
    """What could be read of a setup; only sound models and curves, lest faults echo."""

    bench: Read[BenchDescription] | None
    board: Read[BoardDescription] | None
    plan: Read[PlanDescription] | None
    models: dict[str, InstrumentModel]
    curves: dict[int, CurveDescription]


def read_setup(bench: Path | str, board: Path | str, plan: Path | str) -> Setup:
    """Bench, board and plan with all they refer to, cross-checked.

    Raises
    ------
    DescriptionFaults : all faults of all files, and between them.
    """
    gathering = Gathering()
    parts = _gather(gathering, Path(bench), Path(board), Path(plan))
    _cross_check(gathering, parts)
    read = (parts.bench, parts.board, parts.plan)
    if gathering.faults or read[0] is None or read[1] is None or read[2] is None:
        raise DescriptionFaults(gathering.faults)
    return Setup(
        bench=read[0].value,
        board=read[1].value,
        plan=read[2].value,
        models=parts.models,
        curves=tuple(parts.curves[k] for k in sorted(parts.curves)),
    )


def _gather(gathering: Gathering, bench: Path, board: Path, plan: Path) -> _Parts:
    parts = _Parts(
        gathering.read(bench, BENCH),
        gathering.read(board, BOARD),
        gathering.read(plan, PLAN),
        models={},
        curves={},
    )
    if parts.bench:
        for name, entry in parts.bench.value.instruments.items():
            key: KeyPath = ("instruments", name, "model")
            model = gathering.read_named(parts.bench.document, key, entry.model, INSTRUMENT)
            if model and model.is_sound:
                parts.models[name] = model.value
    if parts.board:
        for index, thermistor in enumerate(parts.board.value.thermistors):
            key = ("thermistors", index, "curve")
            curve = gathering.read_named(parts.board.document, key, thermistor.curve, CURVE)
            if curve and curve.is_sound:
                parts.curves[index + 1] = curve.value
    return parts


def _cross_check(gathering: Gathering, parts: _Parts) -> None:
    """Every check between files whose both sides could be read."""
    bench, board, plan = parts.bench, parts.board, parts.plan
    if bench:
        gathering.note(bench.document, bench_with_models(bench.value, parts.models))
    if bench and board:
        gathering.note(bench.document, bench_with_board(bench.value, board.value))
    if plan and board:
        gathering.note(plan.document, plan_with_board(plan.value, board.value))
        gathering.note(plan.document, plan_with_curves(plan.value, board.value, parts.curves))
    if plan and bench:
        gathering.note(plan.document, plan_with_bench(plan.value, bench.value))
        gathering.note(plan.document, plan_with_models(plan.value, bench.value, parts.models))
    if plan and bench and board:
        gathering.note(bench.document, ladder_current(bench.value, board.value, plan.value))
        gathering.note(
            plan.document,
            resistances_with_models(
                plan.value, bench.value, board.value, parts.models, parts.curves
            ),
        )
