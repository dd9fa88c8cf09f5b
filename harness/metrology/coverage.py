"""Coverage factor from the shape of the combined distribution.

The combined error is taken as X = s t_nu + R1 + R2: everything with a scatter and every
normal part lumped into a scaled t-distribution (nu by Welch-Satterthwaite), the two largest
rectangular parts exact, further rectangular parts lumped with the normal ones. Its
distribution function has a closed form, so a coverage factor needs no simulation.

How good that is: against the Monte Carlo of JCGM 101 (`montecarlo`) within 1 % where nu is
above 30 or the t-part is the only one that is not rectangular. A t-part of few degrees of
freedom beside a normal one of the same size comes out smaller than JCGM 101 has it (1.4 % at
20, 3 % at 10, 8 % at 5). That is the difference between the two guides, not an approximation
of ours: with the scatter estimated anew each time, the intervals by Welch-Satterthwaite hold
the error in 94.3 to 95.2 % of cases, down to four degrees of freedom (see the tests).

With T the distribution function of t_nu, t its density, G = int T and H = int G,

    G(z) = z T + (nu + z^2)/(nu - 1) t
    H(z) = [z^2 T + 2 z (nu + z^2)/(nu - 1) t + (nu T - z (nu + z^2) t)/(nu - 2)] / 2

(from d[(nu + z^2) t]/dz = -(nu - 1) z t), and for two rectangular parts of half-widths a, b

    F(x) = s^2/(4ab) [H((x+a+b)/s) - H((x+a-b)/s) - H((x-a+b)/s) + H((x-a-b)/s)],

for one F(x) = s/(2a) [G((x+a)/s) - G((x-a)/s)]. Only differences enter, so G and H hold as
antiderivatives for every nu but 1 and 2 exactly, and no moment of t_nu needs to exist.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import gammaln, ndtr, ndtri, stdtr, stdtrit

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

# A rectangular part narrower than this fraction of the scatter is lumped with it: U then
# changes by less than 1e-4 of itself down to five degrees of freedom, while exact treatment
# would lose digits in the second difference.
SMALLEST_OF_SCALE = 0.03
# Against a much wider rectangular part: same reason, smoothing an edge by 1e-4 of the width.
SMALLEST_OF_WIDEST = 1.0e-4
# With no scatter at all (two rectangular parts only) an edge this soft stands for sharp.
SOFTEST_OF_WIDEST = 1.0e-9
# From here on t_nu is taken as normal: the 95 % factor differs by 1.2e-6 of itself.
NORMAL_FROM_DEGREES = 1.0e6
# From here on the distribution function of t_nu by its normalising expansion, which is three
# times faster than the incomplete beta function and agrees with it within 2e-11.
EXPANSION_FROM_DEGREES = 20.0
# At nu = 1 and nu = 2 G and H are singular (by a constant that differences cancel); this
# close to them the next lower value, which covers more, is used.
POLE_WIDTH = 1.0e-3
# Halley's step converges cubically: after a relative step of this size what is left is below
# 1e-7. Iterations are bounded; from any start above zero they stay bounded too.
LAST_STEP = 3.0e-3
MOST_ITERATIONS = 60


@dataclass(frozen=True)
class CombinedDistribution:
    """Distribution of s t_nu + R1 + R2, symmetric about zero; arrays of shape (n,).

    scale : s >= 0. degrees_of_freedom : nu > 0, inf for normal.
    wide, narrow : half-widths of the two rectangular parts, wide >= narrow >= 0, where zero
    means there is none. Made by `combined_distribution`.
    """

    scale: FloatArray
    degrees_of_freedom: FloatArray
    wide: FloatArray
    narrow: FloatArray

    def __len__(self) -> int:
        return len(self.scale)

    def where(self, mask: BoolArray) -> CombinedDistribution:
        """The entries where `mask` is true."""
        return CombinedDistribution(
            self.scale[mask], self.degrees_of_freedom[mask], self.wide[mask], self.narrow[mask]
        )


def lump(
    scale: FloatArray, degrees_of_freedom: FloatArray, variance: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Scale and degrees of freedom of s t_nu after a normal part of `variance` joins it.

    Welch-Satterthwaite with infinite degrees of freedom for the part that joins (GUM G.4.1):
    s'^2 = s^2 + v, nu' = nu (s'/s)^4.
    """
    joined = np.sqrt(scale**2 + variance)
    with np.errstate(divide="ignore", invalid="ignore"):
        degrees = np.where(
            scale > 0, degrees_of_freedom * np.square(np.square(joined / scale)), np.inf
        )
    return joined, degrees


def combined_distribution(
    scale: FloatArray, degrees_of_freedom: FloatArray, half_widths: FloatArray
) -> CombinedDistribution:
    """The distribution of a scaled t-variable plus independent rectangular ones.

    Parameters
    ----------
    scale : standard uncertainty of all parts that are not rectangular, shape (n,), >= 0.
    degrees_of_freedom : effective ones of these parts, shape (n,), inf allowed.
    half_widths : half-widths of the rectangular parts, shape (m, n), m >= 0, >= 0.

    Returns
    -------
    Two rectangular parts exact, the others and negligible ones lumped into the t-variable.
    NaN in any input makes that entry's quantiles and probabilities NaN.
    """
    count = len(scale)
    wide, narrow = np.zeros(count), np.zeros(count)
    if len(half_widths):
        ordered = np.sort(half_widths, axis=0)
        wide = ordered[-1]
        narrow = ordered[-2] if len(ordered) > 1 else narrow
        rest = (ordered[:-2] ** 2).sum(axis=0) / 3.0
        scale, degrees_of_freedom = lump(scale, degrees_of_freedom, rest)
    too_narrow = (narrow < SMALLEST_OF_SCALE * scale) | (narrow < SMALLEST_OF_WIDEST * wide)
    scale, degrees_of_freedom = lump(
        scale, degrees_of_freedom, np.where(too_narrow, narrow, 0.0) ** 2 / 3.0
    )
    narrow = np.where(too_narrow, 0.0, narrow)
    too_small = (wide < SMALLEST_OF_SCALE * scale) & (narrow == 0.0)
    scale, degrees_of_freedom = lump(
        scale, degrees_of_freedom, np.where(too_small, wide, 0.0) ** 2 / 3.0
    )
    wide = np.where(too_small, 0.0, wide)
    return CombinedDistribution(scale, degrees_of_freedom, wide, narrow)


def cdf(x: ArrayLike, distribution: CombinedDistribution) -> FloatArray:
    """Probability that the combined error is at most `x`, shape (n,).

    Parameters
    ----------
    x : unit of the distribution, scalar or shape (n,); +-inf allowed, NaN gives NaN.
    """
    values = np.broadcast_to(np.asarray(x, dtype=np.float64), (len(distribution),))
    below = np.empty(len(distribution))
    for mask, rows in _kinds(distribution):
        below[mask] = _lower_tail(np.abs(values[mask]), rows)
    upper = values > 0
    return np.where(upper, 1.0 - below, below)


def quantile(probability: float, distribution: CombinedDistribution) -> FloatArray:
    """The value that the combined error stays below with `probability`, shape (n,).

    Parameters
    ----------
    probability : between 0 and 1, both excluded.

    Raises
    ------
    ValueError : `probability` is outside.
    """
    if not 0.0 < probability < 1.0:
        raise ValueError(f"probability: expected a number between 0 and 1, got {probability!r}")
    tail = min(probability, 1.0 - probability)
    found = np.zeros(len(distribution))
    if tail == 0.5:
        return found
    for mask, rows in _kinds(distribution):
        found[mask] = _upper_quantile(tail, rows)
    return found if probability > 0.5 else -found


def half_interval(probability: float, distribution: CombinedDistribution) -> FloatArray:
    """Half-width of the symmetric interval holding the error with `probability`, shape (n,).

    The distribution is symmetric, so this is also the shortest such interval (JCGM 101, 5.3.4).
    """
    return quantile(0.5 + probability / 2.0, distribution)


def t_factor(probability: float, degrees_of_freedom: ArrayLike) -> FloatArray:
    """Two-sided factor t_p(nu) of the t-distribution (GUM table G.2); nu may be inf."""
    degrees = np.asarray(degrees_of_freedom, dtype=np.float64)
    normal = ndtri(0.5 + probability / 2.0)
    finite = degrees < NORMAL_FROM_DEGREES
    factor = stdtrit(np.where(finite, degrees, 1.0), 0.5 + probability / 2.0)
    result: FloatArray = np.where(finite, factor, np.where(np.isnan(degrees), np.nan, normal))
    return result


# Evaluation ------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Rows:
    """Entries of one kind: the same number of rectangular parts, the same form of the t-part.

    degrees and norm are None where the t-part is normal.
    """

    scale: FloatArray
    degrees: FloatArray | None
    norm: FloatArray | None
    wide: FloatArray
    narrow: FloatArray
    parts: int

    def where(self, mask: BoolArray) -> _Rows:
        return _Rows(
            self.scale[mask],
            None if self.degrees is None else self.degrees[mask],
            None if self.norm is None else self.norm[mask],
            self.wide[mask],
            self.narrow[mask],
            self.parts,
        )


def _kinds(distribution: CombinedDistribution) -> list[tuple[BoolArray, _Rows]]:
    """The entries sorted by kind, each with the mask that puts results back."""
    d = distribution
    scale = np.maximum(d.scale, SOFTEST_OF_WIDEST * d.wide)
    is_normal = (d.degrees_of_freedom >= NORMAL_FROM_DEGREES) | (scale > d.scale)
    parts = (d.wide > 0).astype(np.int64) + (d.narrow > 0)
    found = []
    is_many = ~is_normal & (d.degrees_of_freedom >= EXPANSION_FROM_DEGREES)
    for form in (is_normal, is_many, ~is_normal & ~is_many):
        for count in range(3):
            mask = form & (parts == count)
            if mask.any():
                degrees = None if form is is_normal else _off_poles(d.degrees_of_freedom[mask])
                norm = None if degrees is None else _density_constant(degrees)
                rows = _Rows(scale[mask], degrees, norm, d.wide[mask], d.narrow[mask], count)
                found.append((mask, rows))
    return found


def _off_poles(degrees: FloatArray) -> FloatArray:
    for pole in (1.0, 2.0):
        degrees = np.where(np.abs(degrees - pole) < POLE_WIDTH, pole - POLE_WIDTH, degrees)
    return degrees


def _density_constant(degrees: FloatArray) -> FloatArray:
    """Gamma((nu+1)/2) / (Gamma(nu/2) sqrt(nu pi)).

    Above nu = 200 by the asymptotic series of the ratio, where the difference of logarithms
    loses digits (Abramowitz and Stegun 6.1.47, from memory; checked in the tests).
    """
    x = degrees / 2.0
    series = 1 - 1 / (8 * x) + 1 / (128 * x**2) + 5 / (1024 * x**3) - 21 / (32768 * x**4)
    small = np.minimum(x, 100.0)
    ratio = np.exp(gammaln(small + 0.5) - gammaln(small)) / np.sqrt(small)
    constant: FloatArray = np.where(x > 100.0, series, ratio) / np.sqrt(2.0 * np.pi)
    return constant


def _density(z: FloatArray, rows: _Rows) -> FloatArray:
    if rows.degrees is None or rows.norm is None:
        return np.asarray(np.exp(-0.5 * z * z) / np.sqrt(2.0 * np.pi))
    nu = rows.degrees
    density: FloatArray = rows.norm * np.exp(-0.5 * (nu + 1.0) * np.log1p(z * z / nu))
    return density


def _distribution(z: FloatArray, rows: _Rows) -> FloatArray:
    if rows.degrees is None:
        return np.asarray(ndtr(z))
    if rows.degrees.min() >= EXPANSION_FROM_DEGREES:
        return np.asarray(ndtr(_normalised(z, rows.degrees)))
    return np.asarray(stdtr(rows.degrees, z))


def _normalised(z: FloatArray, nu: FloatArray) -> FloatArray:
    """The normal deviate with the same probability as t_nu = z.

    Expansion of G. W. Hill, Algorithm 395, Communications of the ACM 13 (1970) 617-619, from
    memory; the tests compare it with the incomplete beta function.
    """
    a = nu - 0.5
    b = 48.0 * a * a
    y = a * np.log1p(z * z / nu)
    last = ((((-0.4 * y - 3.3) * y - 24.0) * y - 85.5) / (0.8 * y * y + 100.0 + b) + y + 3.0) / b
    return np.copysign((last + 1.0) * np.sqrt(y), z)


def _moment(z: FloatArray, t: FloatArray, rows: _Rows) -> FloatArray:
    """(nu + z^2)/(nu - 1) t, which is t in the normal limit."""
    if rows.degrees is None:
        return t
    nu = rows.degrees
    return (nu + z * z) / (nu - 1.0) * t


def _second_antiderivative(
    z: FloatArray, t: FloatArray, big_t: FloatArray, rows: _Rows
) -> FloatArray:
    """H(z)."""
    if rows.degrees is None:
        return 0.5 * ((z * z + 1.0) * big_t + z * t)
    nu = rows.degrees
    m = _moment(z, t, rows)
    return 0.5 * (z * z * big_t + 2.0 * z * m + (nu * big_t - (nu - 1.0) * z * m) / (nu - 2.0))


def _tail_and_slopes(x: FloatArray, rows: _Rows) -> tuple[FloatArray, FloatArray, FloatArray]:
    """P(X <= -x), the density there, and the density's slope; x >= 0, shape (n,)."""
    s, a, b = rows.scale, rows.wide, rows.narrow
    if rows.parts == 0:
        z = -x / s
        t = _density(z, rows)
        nu_part = 1.0 if rows.degrees is None else (rows.degrees + 1) / (rows.degrees + z * z)
        return _distribution(z, rows), t / s, -z * nu_part * t / s**2
    if rows.parts == 1:
        z = np.stack([a - x, -a - x]) / s
        t, big_t = _density(z, rows), _distribution(z, rows)
        g = z * big_t + _moment(z, t, rows)
        width = 2.0 * a
        return s * (g[0] - g[1]) / width, (big_t[0] - big_t[1]) / width, (t[0] - t[1]) / width / s
    z = np.stack([a + b - x, a - b - x, b - a - x, -a - b - x]) / s
    t, big_t = _density(z, rows), _distribution(z, rows)
    g = z * big_t + _moment(z, t, rows)
    h = _second_antiderivative(z, t, big_t, rows)
    area = 4.0 * a * b
    return (
        s * s * _second_difference(h) / area,
        s * _second_difference(g) / area,
        _second_difference(big_t) / area,
    )


def _second_difference(four: FloatArray) -> FloatArray:
    difference: FloatArray = (four[0] - four[1]) - (four[2] - four[3])
    return difference


def _lower_tail(x: FloatArray, rows: _Rows) -> FloatArray:
    """P(X <= -x) for x >= 0; exact ends for x infinite and for a distribution without width."""
    has_width = rows.scale > 0
    usable = has_width & np.isfinite(x)
    tail = np.where(np.isnan(x) | np.isnan(rows.scale), np.nan, np.where(x > 0, 0.0, 0.5))
    if usable.any():
        value = _tail_and_slopes(x[usable], rows.where(usable))[0]
        tail[usable] = np.clip(value, 0.0, 0.5)
    return tail


# Quantiles -------------------------------------------------------------------------------


def _upper_quantile(tail: float, rows: _Rows) -> FloatArray:
    """x > 0 with P(X <= -x) = tail; 0 for a distribution without width."""
    found = np.where(np.isnan(rows.scale), np.nan, 0.0)
    has_width = rows.scale > 0
    if not has_width.any():
        return found
    rows = rows.where(has_width)
    if rows.parts == 0:
        found[has_width] = rows.scale * _pure_quantile(tail, rows)
        return found
    x = _first_guess(tail, rows)
    if rows.degrees is not None:
        x = _solve(tail, x, _normal_stand_in(tail, rows))
    found[has_width] = _solve(tail, x, rows)
    return found


def _pure_quantile(tail: float, rows: _Rows) -> FloatArray:
    if rows.degrees is None:
        return np.full(len(rows.scale), -ndtri(tail))
    return -np.asarray(stdtrit(rows.degrees, tail), dtype=np.float64)


def _normal_stand_in(tail: float, rows: _Rows) -> _Rows:
    """Normal rows with the quantile of the t-part: cheap, and close enough to start from."""
    assert rows.degrees is not None
    z = float(-ndtri(tail))
    nu = np.maximum(rows.degrees, 3.0)
    # First terms of the expansion of t_p(nu) in 1/nu (Abramowitz and Stegun 26.7.5, from
    # memory): only a start, its error is taken out by the exact step that follows.
    ratio = 1 + (z**2 + 1) / (4 * nu) + (5 * z**4 + 16 * z**2 + 3) / (96 * nu**2)
    return _Rows(rows.scale * ratio, None, None, rows.wide, rows.narrow, rows.parts)


def _first_guess(tail: float, rows: _Rows) -> FloatArray:
    """Normal quantile of the combined variance, less the flatness of the rectangular parts."""
    z = float(-ndtri(tail))
    scatter, wide, narrow = rows.scale**2, rows.wide**2 / 3.0, rows.narrow**2 / 3.0
    variance = scatter + wide + narrow
    kurtosis = -1.2 * (wide**2 + narrow**2) / variance**2
    factor = z + kurtosis * (z**3 - 3 * z) / 24
    edge = (1.0 - 2.0 * tail) * rows.wide + rows.narrow + z * rows.scale
    return np.minimum(factor * np.sqrt(variance), edge)


def _solve(tail: float, x: FloatArray, rows: _Rows) -> FloatArray:
    """Halley's iteration on P(X <= -x) = tail, from the start `x`, safeguarded to x >= 0.

    The tail is convex and falling for x > 0 (the density has one peak, at zero), so a step
    that went too far left is followed by steps that approach from the left.
    """
    x = x.copy()
    active = np.ones(len(x), dtype=bool)
    for _ in range(MOST_ITERATIONS):
        at = x[active]
        value, density, slope = _tail_and_slopes(at, rows if active.all() else rows.where(active))
        with np.errstate(divide="ignore", invalid="ignore"):
            newton = (value - tail) / density
            step = newton / np.maximum(1.0 - 0.5 * newton * slope / density, 0.5)
        step = np.where(np.isfinite(step), step, -0.5 * at)
        moved = np.maximum(at + step, 0.0)
        x[active] = moved
        still = np.abs(moved - at) > LAST_STEP * moved
        if not still.any():
            return x
        active[active] = still
    return x
