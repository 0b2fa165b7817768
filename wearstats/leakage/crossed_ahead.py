"""Rows to come of a crossed regression: means, and the covariance between them."""

from collections.abc import Mapping

import numpy as np

from wearstats.arrays import FloatArray, IntArray
from wearstats.leakage.crossed import Solved


def rows_ahead(
    solved: Solved, columns: FloatArray, groups: Mapping[str, IntArray]
) -> tuple[FloatArray, FloatArray]:
    """Return what the equations say of further rows.

    A group that was eliminated has the level (own mean of what is left) - w'effects, with its
    own normal error (Henderson 1975, Biometrics 31:423-447, doi:10.2307/2529430).

    Parameters
    ----------
    solved : Solved
    columns : ndarray, shape (n, p)
        Of the coefficients, as in the fit.
    groups : mapping of str to ndarray of int, shape (n,)
        Each row's group in every component, as numbered in the fit; negative for a new group,
        and rows with the same negative number are of one.

    Returns
    -------
    mean : ndarray, shape (n,)
    covariance : ndarray, shape (n, n)
    """
    count = len(columns)
    rows = np.zeros((count, len(solved.effects)))
    rows[:, : columns.shape[1]] = columns
    mean = np.zeros(count)
    covariance = solved.variances["rest"] * np.eye(count)
    for name, codes in groups.items():
        known = np.flatnonzero(codes >= 0)
        if name == solved.small:
            mean[known] += solved.small_levels[codes[known]]
            variance = np.full(count, solved.variances[name])
            variance[known] = solved.small_variances[codes[known]]
        else:
            rows[known, solved.dense[name] + codes[known]] = 1.0
            variance = np.where(codes >= 0, 0.0, solved.variances[name])
        covariance += variance * (codes[:, np.newaxis] == codes)
    mean += rows @ solved.effects
    if solved.small in groups:
        codes = groups[solved.small]
        known = np.flatnonzero(codes >= 0)
        rows[known] -= solved.small_weights[codes[known]].toarray()
    covariance += rows @ solved.covariance @ rows.T
    return mean, covariance
