"""A setup: bench, board, plan and all they refer to, resolved and cross-checked.

`Setup` is what the inside of the harness is given, what a record keeps, and what judging
takes. (Reading and cross-file checks are in `harness.descriptions.reading`.)
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from pydantic import TypeAdapter

from harness.descriptions.bench import BenchDescription
from harness.descriptions.board import BoardDescription
from harness.descriptions.curve import CurveDescription
from harness.descriptions.instrument import InstrumentModel
from harness.descriptions.plan import PlanDescription


@dataclass(frozen=True)
class Setup:
    """Everything declared about one run.

    models : instrument model by the instrument's name in the bench file.
    curves : one curve a thermistor, in the board's order.
    """

    bench: BenchDescription
    board: BoardDescription
    plan: PlanDescription
    models: Mapping[str, InstrumentModel]
    curves: tuple[CurveDescription, ...]


_ADAPTERS: dict[str, TypeAdapter[Any]] = {
    "bench": TypeAdapter(BenchDescription),
    "board": TypeAdapter(BoardDescription),
    "plan": TypeAdapter(PlanDescription),
    "models": TypeAdapter(dict[str, InstrumentModel]),
    "curves": TypeAdapter(tuple[CurveDescription, ...]),
}


def setup_to_json(setup: Setup) -> str:
    """The whole setup as canonical JSON text (sorted keys), for records and their hashes."""
    plain = {
        name: adapter.dump_python(getattr(setup, name), mode="json")
        for name, adapter in _ADAPTERS.items()
    }
    return json.dumps(plain, sort_keys=True, ensure_ascii=False, allow_nan=False)


def setup_hash(setup: Setup) -> str:
    """SHA-256 of the canonical text, as 64 hex digits: equal setups have equal hashes."""
    return hashlib.sha256(setup_to_json(setup).encode("utf-8")).hexdigest()


def setup_from_json(text: str) -> Setup:
    """The setup that `setup_to_json` wrote.

    Raises
    ------
    ValueError : the text is no such setup.
    """
    plain = json.loads(text)
    if not isinstance(plain, dict) or plain.keys() != _ADAPTERS.keys():
        raise ValueError(f"setup: expected JSON with {', '.join(_ADAPTERS)}, got {text[:40]!r}")
    return Setup(
        **{
            name: adapter.validate_json(json.dumps(plain[name]))
            for name, adapter in _ADAPTERS.items()
        }
    )
