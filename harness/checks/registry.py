"""Kinds of checks: the one place where a check is found by the name that plans use.

To add a check: write a module with a class that satisfies `harness.checks.check.Check`, give
its settings a class with the same `kind` in `harness.descriptions.plan`, and call `register`.
`points` and `judge` must be pure and `acquire` must decide nothing; the runner, rehearsal,
records and reports then treat the new kind like the ones here. Registration checks what can
be checked without a bench, so that a mistake shows at import and not during a run.
"""

from __future__ import annotations

import inspect

from harness.checks.cell_accuracy import CellAccuracyCheck
from harness.checks.check import Check
from harness.checks.mapping import MappingCheck
from harness.checks.noise import NoiseCheck
from harness.checks.stack_total import StackTotalCheck
from harness.checks.thermistor_accuracy import ThermistorAccuracyCheck
from harness.checks.thermistor_faults import ThermistorFaultsCheck
from harness.errors import MisuseError

# The parameters of each function of a check, as the runner calls them.
_FUNCTIONS = {
    "needs": ("setup", "index"),
    "points": ("setup", "index"),
    "acquire": ("bench", "point", "index"),
    "judge": ("observations", "setup", "index"),
}

_CHECKS: dict[str, Check] = {}


def register(check: Check) -> None:
    """Make `check` known under its kind.

    Raises
    ------
    MisuseError : no kind, a kind already taken, or a function missing or with other parameters.
    """
    name = type(check).__name__
    kind = getattr(check, "kind", None)
    if not isinstance(kind, str) or not kind:
        raise MisuseError(f"check {name}: kind: expected a name, got {kind!r}")
    if kind in _CHECKS:
        raise MisuseError(
            f'check {name}: kind: expected one not yet registered, got "{kind}" of '
            f"{type(_CHECKS[kind]).__name__}"
        )
    for function, parameters in _FUNCTIONS.items():
        found = getattr(check, function, None)
        got = tuple(inspect.signature(found).parameters) if callable(found) else None
        if got != parameters:
            raise MisuseError(
                f"check {name}: {function}: expected parameters {', '.join(parameters)}, "
                f"got {'nothing to call' if got is None else ', '.join(got)}"
            )
    _CHECKS[kind] = check


def check_of_kind(kind: str) -> Check:
    """The check registered under `kind`.

    Raises
    ------
    MisuseError : none is.
    """
    try:
        return _CHECKS[kind]
    except KeyError:
        raise MisuseError(f'check: expected one of {", ".join(_CHECKS)}, got "{kind}"') from None


def kinds() -> tuple[str, ...]:
    """All registered kinds, in order of registration."""
    return tuple(_CHECKS)


for _check in (
    MappingCheck(),
    CellAccuracyCheck(),
    StackTotalCheck(),
    NoiseCheck(),
    ThermistorAccuracyCheck(),
    ThermistorFaultsCheck(),
):
    register(_check)
