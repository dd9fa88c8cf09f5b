"""Makes something once for all workers of a parallel test session.

The first worker that asks takes the lock and makes it, the others wait for the lock and read
what was kept.
"""

from __future__ import annotations

import fcntl
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest


def made_once(
    name: str,
    factory: pytest.TempPathFactory,
    config: pytest.Config,
    make: Callable[[Path], dict[str, Any]],
) -> dict[str, Any]:
    """What `make` gives for a folder called `name`; it must survive JSON."""
    own = factory.getbasetemp()
    folder = (own.parent if hasattr(config, "workerinput") else own) / name
    folder.mkdir(exist_ok=True)
    kept = folder / "kept.json"
    with open(folder / "lock", "w", encoding="utf-8") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not kept.exists():
            kept.write_text(json.dumps(make(folder)), encoding="utf-8")
    return dict(json.loads(kept.read_text(encoding="utf-8")))
