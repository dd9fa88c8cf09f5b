"""Random budgets for tests: contributions of sizes that differ by up to fifty times."""

from __future__ import annotations

import numpy as np

from harness.metrology.budget import Budget, Contribution, Shape


def part(
    name: str,
    u: float | np.ndarray,
    shape: Shape = Shape.NORMAL,
    dof: float | np.ndarray = np.inf,
    *,
    is_common: bool = False,
) -> Contribution:
    """A contribution from plain numbers; scalars become arrays of one entry."""
    size = np.atleast_1d(np.asarray(u, dtype=float))
    degrees = np.broadcast_to(np.asarray(dof, dtype=float), size.shape).copy()
    return Contribution(name, size, shape, degrees, is_common, f"improve {name}", "test")


def random_budget(
    rng: np.random.Generator,
    entries: int,
    *,
    rectangular: int,
    lowest_dof: int | None,
    with_normal: bool = True,
) -> Budget:
    """`rectangular` rectangular parts, a normal one, and a t-part with up to 60 degrees."""

    def sizes() -> np.ndarray:
        return np.exp(rng.uniform(np.log(0.02), 0.0, entries))

    parts = [
        part(f"rectangular {i}", sizes(), Shape.RECTANGULAR, is_common=i % 2 == 0)
        for i in range(rectangular)
    ]
    if with_normal:
        parts.append(part("normal", sizes()))
    if lowest_dof is not None:
        dof = np.floor(rng.uniform(lowest_dof, 61, entries))
        parts.append(part("t", sizes(), Shape.STUDENT, dof))
    return Budget(tuple(parts))
