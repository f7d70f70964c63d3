"""Compiled kernels of small matrices: products, a Cholesky factor, and what solves with it."""

from __future__ import annotations

import math

from handlap.sim.common.jit import kernel


@kernel(fastmath=True)
def rows_times(matrix, x, out):
    """out = matrix·x."""
    for i in range(matrix.shape[0]):
        total = 0.0
        for k in range(matrix.shape[1]):
            total += matrix[i, k] * x[k]
        out[i] = total


@kernel(fastmath=True)
def columns_times(matrix, x, out):
    """out = matrixᵀ·x."""
    out[:] = 0.0
    for i in range(matrix.shape[0]):
        if x[i] != 0.0:
            for k in range(matrix.shape[1]):
                out[k] += x[i] * matrix[i, k]


@kernel(fastmath=True)
def dot(a, b):
    """a·b."""
    total = 0.0
    for k in range(a.shape[0]):
        total += a[k] * b[k]
    return total


@kernel(fastmath=True)
def factor(jacobian, omega, chol):
    """Lower Cholesky factor (m, m) of J·Jᵀ + diag(omega)."""
    m = jacobian.shape[0]
    for i in range(m):
        for j in range(i + 1):
            chol[i, j] = dot(jacobian[i], jacobian[j])
        chol[i, i] += omega[i]
    for i in range(m):
        for j in range(i + 1):
            total = chol[i, j]
            for k in range(j):
                total -= chol[i, k] * chol[j, k]
            if i == j:
                chol[i, i] = math.sqrt(max(total, 1e-30))
            else:
                chol[i, j] = total / chol[j, j]


@kernel(fastmath=True)
def solve(chol, x):
    """x becomes (L·Lᵀ)⁻¹·x."""
    m = x.shape[0]
    for i in range(m):
        total = x[i]
        for k in range(i):
            total -= chol[i, k] * x[k]
        x[i] = total / chol[i, i]
    for i in range(m - 1, -1, -1):
        x[i] /= chol[i, i]
        for k in range(i):
            x[k] -= chol[i, k] * x[i]
