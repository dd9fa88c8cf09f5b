"""Verdict words, their severity, and the decision rules that hand them out.

The rules look at an error, its limit and its expanded uncertainty only. How probable a wrong
decision is comes from the distribution of the error: `harness.metrology.risk`.
"""

from __future__ import annotations

from collections.abc import Iterable
from enum import Enum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from harness.errors import MisuseError

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

# Comparisons with a bound allow this fraction of the limit in favour of the better statement:
# errors are differences of volts and carry rounding of 1e-14 V, so that 3.305 - 3.300 must
# not miss a 5 mV limit. Five picovolts in 5 mV change no decision that means anything.
SLACK_OF_LIMIT = 1.0e-9


class Verdict(str, Enum):
    """A conformity statement; a missing value is never a pass."""

    PASS = "pass"
    CONDITIONAL_PASS = "conditional pass"
    NOT_RUN = "not run"
    CANNOT_DECIDE = "cannot decide"
    CONDITIONAL_FAIL = "conditional fail"
    FAIL = "fail"
    ABORTED = "aborted"

    @property
    def severity(self) -> int:
        """0 for `PASS`, rising to `ABORTED`."""
        return _SEVERITY[self]

    @staticmethod
    def worst(verdicts: Iterable[Verdict]) -> Verdict:
        """The most severe of `verdicts`; `NOT_RUN` when there is none."""
        return max(verdicts, key=lambda v: v.severity, default=Verdict.NOT_RUN)


_SEVERITY = {verdict: place for place, verdict in enumerate(Verdict)}
_BY_SEVERITY = tuple(Verdict)
ACCEPTED = frozenset({Verdict.PASS, Verdict.CONDITIONAL_PASS})
REJECTED = frozenset({Verdict.FAIL, Verdict.CONDITIONAL_FAIL})


class Rule(str, Enum):
    """Decision rules; the values are what a plan writes."""

    GUARD_BAND = "guard-band"
    SIMPLE = "simple"


def uncertainty_ratio(limit: ArrayLike, expanded_uncertainty: ArrayLike) -> FloatArray:
    """Test uncertainty ratio T / U for limits +-T; inf where U is 0 (common practice)."""
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio: FloatArray = np.divide(
            np.asarray(limit, dtype=np.float64), np.asarray(expanded_uncertainty)
        )
    return ratio


def decide(
    error: ArrayLike,
    limit: ArrayLike,
    expanded_uncertainty: ArrayLike,
    rule: Rule | str = Rule.GUARD_BAND,
) -> tuple[Verdict, ...]:
    """The conformity statement of each error under `rule`.

    Parameters
    ----------
    error : shape (n,). NaN (nothing measured) is `NOT_RUN`.
    limit : maximum permissible error T >= 0, scalar or shape (n,); the interval is [-T, T].
    expanded_uncertainty : U >= 0, scalar or shape (n,). NaN or infinite: `CANNOT_DECIDE`.
    rule : a `Rule` or its value.

    Returns
    -------
    One verdict an error. In this order: |e| > T + U is `FAIL`, proved by its own uncertainty;
    T / U < 1 is `CANNOT_DECIDE`; then the statements of the rule.

    Raises
    ------
    MisuseError : an unknown rule, a negative or missing limit, a negative uncertainty.

    Notes
    -----
    "guard-band": non-binary statement with guard band w = U, ILAC-G8:09/2019, 4.2.3. "simple":
    binary statement, simple acceptance, ILAC-G8:09/2019, 4.2.1. Bounds count as the better
    side, within `SLACK_OF_LIMIT`.
    """
    codes = decision_codes(error, limit, expanded_uncertainty, rule)
    return tuple(_BY_SEVERITY[code] for code in codes.tolist())


def decision_codes(
    error: ArrayLike,
    limit: ArrayLike,
    expanded_uncertainty: ArrayLike,
    rule: Rule | str = Rule.GUARD_BAND,
) -> IntArray:
    """As `decide`, as severities (`Verdict.severity`) in an array of shape (n,)."""
    e, t, u = np.broadcast_arrays(
        np.abs(np.asarray(error, dtype=np.float64)),
        np.asarray(limit, dtype=np.float64),
        np.asarray(expanded_uncertainty, dtype=np.float64),
    )
    _check(t, u)
    slack = SLACK_OF_LIMIT * t
    chosen = _rule(rule)
    if chosen is Rule.GUARD_BAND:
        bounds = [(t - u, Verdict.PASS), (t, Verdict.CONDITIONAL_PASS)]
        beyond = Verdict.CONDITIONAL_FAIL
    else:
        bounds, beyond = [(t, Verdict.PASS)], Verdict.FAIL
    known = np.isfinite(u)
    conditions = [
        np.isnan(e),
        known & (e > t + u + slack),
        ~known | (u > t + slack),
        *(e <= bound + slack for bound, _ in bounds),
    ]
    statements = [
        Verdict.NOT_RUN,
        Verdict.FAIL,
        Verdict.CANNOT_DECIDE,
        *(verdict for _, verdict in bounds),
    ]
    return np.select(
        conditions, [np.int64(v.severity) for v in statements], np.int64(beyond.severity)
    )


def _rule(rule: Rule | str) -> Rule:
    try:
        return Rule(rule)
    except ValueError:
        known = " or ".join(f'"{r.value}"' for r in Rule)
        raise MisuseError(f'decision rule: expected {known}, got "{rule}"') from None


def _check(limit: FloatArray, expanded_uncertainty: FloatArray) -> None:
    if not (limit >= 0).all():
        worst = float(limit[~(limit >= 0)].flat[0])
        raise MisuseError(f"limit: expected numbers of 0 or more, got {worst!r}")
    if (expanded_uncertainty < 0).any():
        worst = float(np.nanmin(expanded_uncertainty))
        raise MisuseError(f"expanded uncertainty: expected 0 or more, got {worst!r}")


def is_accepted(codes: IntArray) -> NDArray[np.bool_]:
    """Whether a severity stands for an accepting statement, `PASS` or `CONDITIONAL_PASS`."""
    return np.isin(codes, [v.severity for v in ACCEPTED])


def is_rejected(codes: IntArray) -> NDArray[np.bool_]:
    """Whether a severity stands for a refusing statement, `FAIL` or `CONDITIONAL_FAIL`."""
    return np.isin(codes, [v.severity for v in REJECTED])
