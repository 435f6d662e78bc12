"""Small matrices, one for all or one an animal, applied to columns of numbers; one trait takes the short way."""

import numpy as np

from .data import Numbers


def mixed(x: Numbers, matrix: Numbers) -> Numbers:
    """x times one symmetric (t, t) matrix; x : (..., t)."""
    if matrix.shape == (1, 1):
        return np.asarray(x * matrix[0, 0])
    return np.asarray(x @ matrix)


def mixed_each(x: Numbers, matrices: Numbers) -> Numbers:
    """x[i] times the symmetric matrices[i]; x : (n, k, t), matrices : (n, t, t)."""
    if matrices.shape[1:] == (1, 1):
        return np.asarray(x * matrices)
    return np.asarray(x @ matrices)


def each_inverse(matrices: Numbers) -> Numbers:
    """Inverse of every (t, t) matrix of (n, t, t)."""
    return np.asarray(np.linalg.inv(matrices) if matrices.shape[1] > 1 else 1.0 / matrices)


def inverse_or_zero(matrix: Numbers) -> Numbers | None:
    """Inverse of a (t, t) covariance matrix, None if it is all zero.

    A matrix without inverse, a correlation of one for instance, has a billionth of its size added to the diagonal.
    """
    if not matrix.any():
        return None
    scale = np.sqrt(np.maximum(np.diag(matrix), 1e-9 * np.diag(matrix).max()))
    scaled = matrix / np.outer(scale, scale)
    if np.linalg.eigvalsh(scaled)[0] < 1e-9:
        scaled = scaled + 1e-9 * np.eye(len(matrix))
    inverse = np.linalg.inv(scaled) / np.outer(scale, scale)
    return np.asarray((inverse + inverse.T) / 2)
