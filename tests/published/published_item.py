"""Reads the data of one published source from `data/`, for the tests beside it.

Each file carries its source and how its numbers were obtained (`confidence`: "read in a public
copy", "partly from memory", "from memory"), and for each quantity the published value and the
tolerance that follows from its printed digits.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

DATA = Path(__file__).parent / "data"


@dataclass(frozen=True)
class Published:
    """One source: inputs and outputs as written down, and tolerances by quantity."""

    source: str
    confidence: str
    inputs: dict[str, Any]
    outputs: dict[str, Any]
    expected: dict[str, tuple[float, float]]

    def agrees(self, quantity: str, value: float) -> bool:
        """Whether `value` is the published one within its tolerance."""
        published, tolerance = self.expected[quantity]
        return abs(float(value) - published) <= tolerance


def published(name: str) -> Published:
    """The data file `name` without its ending."""
    item = json.loads((DATA / f"{name}.json").read_text("utf-8"))
    return Published(
        source=item["source"],
        confidence=item["confidence"],
        inputs=item["inputs"],
        outputs=item["outputs"],
        expected={t["quantity"]: (t["published"], t["tolerance"]) for t in item["tolerances"]},
    )
