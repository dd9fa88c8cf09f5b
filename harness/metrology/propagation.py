"""Law of propagation of uncertainty with correlated inputs (GUM 5.2), several outputs.

Budgets of findings are sums and need none of this; it serves models with products, ratios
and shared inputs.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
Model = Callable[[FloatArray], FloatArray]


def covariance_of_means(samples: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Means of simultaneous readings and the covariance matrix of the means.

    Parameters
    ----------
    samples : shape (m, n), n simultaneous readings of m quantities, n >= 2.

    Returns
    -------
    Means, shape (m,), and s(q_j, q_k) / n, shape (m, m) (GUM 5.2.3, equation 17).
    """
    x = np.asarray(samples, dtype=np.float64)
    covariance = np.atleast_2d(np.cov(x)) / x.shape[1]
    return x.mean(axis=1), covariance


def correlation(covariance: ArrayLike) -> FloatArray:
    """Correlation coefficients u(x, y) / (u(x) u(y)) (GUM 5.2.2, equation 14)."""
    c = np.asarray(covariance, dtype=np.float64)
    u = np.sqrt(np.diagonal(c))
    result: FloatArray = c / np.outer(u, u)
    return result


def covariance_from(uncertainties: ArrayLike, correlations: ArrayLike) -> FloatArray:
    """Covariance matrix from standard uncertainties (m,) and correlations (m, m)."""
    u = np.asarray(uncertainties, dtype=np.float64)
    result: FloatArray = np.asarray(correlations, dtype=np.float64) * np.outer(u, u)
    return result


def propagate(sensitivities: ArrayLike, covariance: ArrayLike) -> FloatArray:
    """Covariance of outputs, J U J^T (GUM 5.2.2, equation 13, for several outputs).

    Parameters
    ----------
    sensitivities : J, shape (..., k, m): k outputs, m inputs, any number of cases in front.
    covariance : U of the inputs, shape (..., m, m).

    Returns
    -------
    Shape (..., k, k).
    """
    j = np.asarray(sensitivities, dtype=np.float64)
    result: FloatArray = np.einsum("...ki,...ij,...lj->...kl", j, np.asarray(covariance), j)
    return result


def sensitivities(model: Model, values: ArrayLike, uncertainties: ArrayLike) -> FloatArray:
    """Sensitivity coefficients by central differences over +-u (GUM 5.1.3, note 2).

    Parameters
    ----------
    model : maps inputs, shape (m,), to outputs, shape (k,).
    values, uncertainties : shape (m,); an input with u = 0 gets coefficient 0.

    Returns
    -------
    J, shape (k, m).
    """
    x = np.asarray(values, dtype=np.float64)
    steps = np.asarray(uncertainties, dtype=np.float64)
    columns = []
    for i, step in enumerate(steps):
        moved = np.zeros_like(x)
        moved[i] = step
        difference = np.atleast_1d(model(x + moved)) - np.atleast_1d(model(x - moved))
        columns.append(difference / (2.0 * step) if step > 0 else np.zeros_like(difference))
    return np.stack(columns, axis=1)
