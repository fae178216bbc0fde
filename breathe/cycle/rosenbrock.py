"""A third-order Rosenbrock method for stiff rates: the algebra of one step, and its step control.

RODAS3: four stages, three rate evaluations, stiffly accurate, with an embedded second-order result
to judge the error. Only the first ``core`` unknowns feed back into the rates; the rest (work done,
mass gone through) are carried along at no cost to the Jacobian.

Kernels only, and only the algebra: whoever knows the rates evaluates them, since a kernel that
takes another as an argument could not be kept on disk. All arrays of a step are rows of one array,
as handing round many small ones costs more than the arithmetic.

References
----------
E. Hairer and G. Wanner, Solving Ordinary Differential Equations II, 1996, sec. IV.7 (form used
here: eq. 7.25); A. Sandu et al., Atmospheric Environment 31, 1997, 3459, method RODAS3
(coefficients from memory; a test holds them to the order conditions).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from breathe.kernel import inlined

Array = NDArray[np.float64]

GAMMA = 0.5
"""Diagonal coefficient. Argument of stage i: y + sum A_ij K_j at t + ALPHA_i h."""
A = ((0.0, 0.0, 0.0, 0.0), (0.0, 0.0, 0.0, 0.0), (2.0, 0.0, 0.0, 0.0), (2.0, 0.0, 1.0, 0.0))
C = (
    (0.0, 0.0, 0.0, 0.0),
    (4.0, 0.0, 0.0, 0.0),
    (1.0, -1.0, 0.0, 0.0),
    (1.0, -1.0, -8.0 / 3.0, 0.0),
)
ALPHA = (0.0, 0.0, 1.0, 1.0)
SLOPE_WEIGHT = (0.5, 1.5, 0.0, 0.0)
"""Weight of h df/dt in each stage."""
WEIGHT = (2.0, 0.0, 1.0, 1.0)
"""New value: y + sum WEIGHT_i K_i. The error estimate is K_4."""

SAFETY, SHRINK, GROW = 0.9, 0.2, 5.0
SMALLEST_STEP = 1e-9
"""In units of the independent variable; a smaller step means failure."""

# Rows of the work array, all of as many columns as there are unknowns.
Y, NEW, STAGE = 0, 1, 2
"""The unknowns before the step, after it, and the argument of a stage."""
RATE, MOVED, SLOPE = 3, 4, 5
"""Rate at the start; at another place; df/dt."""
ALLOWED = 6
"""Absolute error allowed in a step."""
K = 7
"""Four rows."""
JACOBIAN = 11
"""One row for each unknown that feeds back."""
CORE_MAX = 6
MATRIX = JACOBIAN + CORE_MAX
"""``core`` rows: 1/(gamma h) - J, decomposed."""
ROWS = MATRIX + CORE_MAX


def workspace(unknowns: int) -> Array:
    """Work array (ROWS, unknowns) with nothing in it."""
    return np.zeros((ROWS, unknowns))


@inlined
def add_row(work: Array, to: int, factor: float, row: int, first: int) -> None:
    """Add a multiple of one row to another, from column ``first`` on."""
    if factor != 0.0:
        for i in range(first, work.shape[1]):
            work[to, i] += factor * work[row, i]


@inlined
def decompose(work: Array, core: int) -> None:
    """LU of the matrix in place, without pivoting: in the steps accepted 1/(gamma h) leads."""
    for k in range(core):
        for i in range(k + 1, core):
            work[MATRIX + i, k] /= work[MATRIX + k, k]
            for j in range(k + 1, core):
                work[MATRIX + i, j] -= work[MATRIX + i, k] * work[MATRIX + k, j]


@inlined
def solve(work: Array, row: int, core: int) -> None:
    """Solve with the decomposed matrix; the first ``core`` of a row: right side, then answer."""
    for i in range(core):
        for j in range(i):
            work[row, i] -= work[MATRIX + i, j] * work[row, j]
    for i in range(core - 1, -1, -1):
        for j in range(i + 1, core):
            work[row, i] -= work[MATRIX + i, j] * work[row, j]
        work[row, i] /= work[MATRIX + i, i]


@inlined
def nudge_unknown(work: Array, j: int) -> float:
    """Move one unknown a little for a forward difference; returns by how much."""
    kept = work[Y, j]
    work[Y, j] = kept + 1.5e-8 * max(abs(kept), 1e2 * work[ALLOWED, j])
    return work[Y, j] - kept


@inlined
def difference(work: Array, row: int, nudge: float) -> None:
    """Slope of the rates, from those at the moved place, into a row."""
    per_nudge = 1.0 / nudge
    for i in range(work.shape[1]):
        work[row, i] = (work[MOVED, i] - work[RATE, i]) * per_nudge


@inlined
def start_step(work: Array, core: int, h: float) -> None:
    """Decompose ``1/(gamma h) - J`` for a step of size ``h``; no stage is known yet."""
    for i in range(core):
        for j in range(core):
            work[MATRIX + i, j] = -work[JACOBIAN + j, i]
        work[MATRIX + i, i] += 1.0 / (GAMMA * h)
    decompose(work, core)
    for i in range(4):
        for j in range(work.shape[1]):
            work[K + i, j] = 0.0


@inlined
def combine(work: Array, to: int, base: int, weights: tuple[float, float, float, float]) -> None:
    """A row plus the weighted stages, into another row."""
    w0, w1, w2, w3 = weights
    for i in range(work.shape[1]):
        stages = w0 * work[K, i] + w1 * work[K + 1, i] + w2 * work[K + 2, i] + w3 * work[K + 3, i]
        work[to, i] = work[base, i] + stages


@inlined
def stage_argument(work: Array, index: int) -> None:
    """Fill the argument of a stage (the first two take the unknowns as they are)."""
    combine(work, STAGE, Y, A[index])


@inlined
def solve_stage(work: Array, index: int, rate: int, core: int, h: float) -> None:
    """K of one stage from the rates in row ``rate``.

    ``(1/(gamma h) - J) K_i = f_i + sum C_ij K_j / h + SLOPE_WEIGHT_i h df/dt``
    """
    k, unknowns, c = K + index, work.shape[1], C[index]
    combine(work, k, rate, (c[0] / h, c[1] / h, c[2] / h, 0.0))
    add_row(work, k, SLOPE_WEIGHT[index] * h, SLOPE, 0)
    solve(work, k, core)
    for j in range(core):
        add_row(work, k, work[k, j], JACOBIAN + j, core)
    for i in range(core, unknowns):
        work[k, i] *= GAMMA * h


@inlined
def finish_step(work: Array) -> None:
    """Fill the result from the four stages."""
    combine(work, NEW, Y, WEIGHT)


@inlined
def error_norm(work: Array, relative: float) -> float:
    """Root mean square of the error estimate over what is allowed; 1 is just acceptable."""
    total = 0.0
    unknowns = work.shape[1]
    for i in range(unknowns):
        size = max(abs(work[Y, i]), abs(work[NEW, i]))
        scaled = work[K + 3, i] / (work[ALLOWED, i] + relative * size)
        total += scaled * scaled
    return math.sqrt(total / unknowns)


@inlined
def step_factor(error: float) -> float:
    """Next step over this one [-]; below 1 when the step is not accepted (error above 1, or NaN
    because a stage left the physical range)."""
    if not math.isfinite(error):
        return SHRINK
    return min(GROW, max(SHRINK, SAFETY * max(error, 1e-8) ** (-1.0 / 3.0)))


@inlined
def next_stride(left: float, h: float) -> float:
    """Step to take with ``left`` to go: the last two share, so that none is tiny by accident."""
    if h >= left:
        return left
    return 0.5 * left if 2.0 * h > left else h
