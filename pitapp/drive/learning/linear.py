"""Small symmetric systems of equations, in plain Python."""

from __future__ import annotations

from collections.abc import Sequence
from math import sqrt

Matrix = list[list[float]]


def cholesky(matrix: Sequence[Sequence[float]]) -> Matrix:
    """Lower triangle L with L·Lᵀ = matrix.

    Raises:
        ValueError: the matrix is not positive definite.
    """
    size = len(matrix)
    lower: Matrix = [[0.0] * size for _ in range(size)]
    for i in range(size):
        row = lower[i]
        for j in range(i + 1):
            other = lower[j]
            rest = matrix[i][j]
            for k in range(j):
                rest -= row[k] * other[k]
            if i == j:
                if not rest > 0.0:
                    raise ValueError("These figures do not settle anything.")
                row[i] = sqrt(rest)
            else:
                row[j] = rest / other[j]
    return lower


def solved(lower: Matrix, right: Sequence[float]) -> list[float]:
    """x of L·Lᵀ·x = right."""
    size = len(lower)
    x = [0.0] * size
    for i in range(size):
        rest = right[i]
        for k in range(i):
            rest -= lower[i][k] * x[k]
        x[i] = rest / lower[i][i]
    for i in range(size - 1, -1, -1):
        rest = x[i]
        for k in range(i + 1, size):
            rest -= lower[k][i] * x[k]
        x[i] = rest / lower[i][i]
    return x


def inverse(lower: Matrix) -> Matrix:
    """The inverse of L·Lᵀ."""
    size = len(lower)
    return [solved(lower, [float(i == j) for i in range(size)]) for j in range(size)]


def quadratic(matrix: Sequence[Sequence[float]], vector: Sequence[float]) -> float:
    """vᵀ·matrix·v."""
    return sum(
        vector[i] * sum(row[j] * vector[j] for j in range(len(vector)) if vector[j])
        for i, row in enumerate(matrix)
        if vector[i]
    )


def student_weight(residual: float, scale: float, freedom: float) -> float:
    """Weight of a residual under a Student-t error, at most (ν + 1)/ν.

    Source: iteratively reweighted least squares; Lange, Little & Taylor, "Robust statistical
    modeling using the t distribution", J. Am. Stat. Assoc. 84 (1989) 881–896 (from memory).

    >>> student_weight(0.0, 1.0, 4.0), round(student_weight(20.0, 1.0, 4.0), 3)
    (1.25, 0.012)
    """
    part = residual / scale
    return (freedom + 1.0) / (freedom + part * part)
