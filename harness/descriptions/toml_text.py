"""Values written as TOML would write them, for messages; long ones are cut short."""

from __future__ import annotations

import datetime
import json
import math
from collections.abc import Mapping, Sequence

# Longest value shown in a message; a line with file, path and this still fits a terminal.
LONGEST_SHOWN = 60

# Largest number written without an exponent: a gigaohm still reads well.
LARGEST_PLAIN = 1.0e10


def as_toml(value: object) -> str:
    """`value` in TOML's own writing, at most `LONGEST_SHOWN` characters and then "..."."""
    text = _written(value)
    return text if len(text) <= LONGEST_SHOWN else text[: LONGEST_SHOWN - 3] + "..."


def _written(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, float):
        return _float(value)
    if isinstance(value, datetime.date | datetime.time):
        return value.isoformat()
    if isinstance(value, Mapping):
        inner = ", ".join(f"{key} = {_written(item)}" for key, item in value.items())
        return f"{{ {inner} }}" if inner else "{}"
    if isinstance(value, Sequence):
        return f"[{', '.join(map(_written, value))}]"
    return str(value)


def _float(value: float) -> str:
    if math.isnan(value):
        return "nan"
    if math.isinf(value):
        return "inf" if value > 0 else "-inf"
    return repr(value)


def alternatives(words: Sequence[str], last: str = "or") -> str:
    """`a`, `a or b`, `a, b or c`."""
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} {last} {words[-1]}"


def figure(value: float, unit: str = "") -> str:
    """A number for a sentence, six significant digits, with its unit: `4.2 V`."""
    text = f"{value:.6g}"
    if "e+" in text and abs(value) < LARGEST_PLAIN:
        text = f"{value:.0f}"
    return f"{text} {unit}".rstrip()
