"""Hot burned gas as a bicubic table of u and R over temperature and ln p.

Below FREEZE_K the composition stands still at engine time scales and the polynomial of the frozen
gas holds; above EQUILIBRIUM_K the gas is in equilibrium; between them one passes smoothly into the
other, so u and R have continuous slopes everywhere. The two temperatures are our own choice: at
phi up to 1 the two descriptions differ by less than 3 kJ/kg at 1500 K. Where water and carbon
monoxide freeze in rich gas is set with the frozen composition, in `mixture`.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from breathe.gas.equilibrium import (
    N_SPECIES,
    cold_guess,
    equilibrate,
    shifting_properties,
    standard_state,
)
from breathe.gas.polynomial import heat_capacity, internal_energy
from breathe.kernel import allocating, kernel

FREEZE_K = 1500.0
EQUILIBRIUM_K = 1700.0
STEP_K = 50.0
N_TEMPERATURES = 39
LAST_K = FREEZE_K + STEP_K * (N_TEMPERATURES - 1)  # 3400
N_PRESSURES = 12
LOG_P_FIRST = math.log(0.15e5)
LOG_P_STEP = (math.log(200e5) - LOG_P_FIRST) / (N_PRESSURES - 1)
LAST_COLUMN = N_PRESSURES - 1.0


class BurnedTable(NamedTuple):
    """What hot burned gas is read from."""

    nodes: NDArray[np.float64]
    """(39, 12, 8) temperature 1500..3400 K by ln p of 0.15..200 bar: u [J/kg], R [J/(kg K)], their
    slopes by T, by ln p, and mixed, each slope times the grid step."""


@kernel
def smoothstep(T):
    """Weight of equilibrium, 0 at FREEZE_K to 1 at EQUILIBRIUM_K, and its slope [1/K]."""
    span = EQUILIBRIUM_K - FREEZE_K
    s = min(1.0, max(0.0, (T - FREEZE_K) / span))
    return s * s * (3.0 - 2.0 * s), 6.0 * s * (1.0 - s) / span


@kernel
def fill_node(node, T, equilibrium, mixed, frozen, frozen_R):
    """One node from equilibrium properties, mixed slopes (u, R by T and ln p) and frozen gas."""
    u, r, u_t, r_t, u_p, r_p = equilibrium
    u_frozen = internal_energy(T, frozen, frozen_R)
    du_frozen = heat_capacity(T, frozen) - frozen_R
    weight, slope = smoothstep(T)
    node[0] = u_frozen + weight * (u - u_frozen)
    node[1] = frozen_R + weight * (r - frozen_R)
    node[2] = STEP_K * (du_frozen + weight * (u_t - du_frozen) + slope * (u - u_frozen))
    node[3] = STEP_K * (weight * r_t + slope * (r - frozen_R))
    node[4] = LOG_P_STEP * weight * u_p
    node[5] = LOG_P_STEP * weight * r_p
    node[6] = STEP_K * LOG_P_STEP * (weight * mixed[0] + slope * u_p)
    node[7] = STEP_K * LOG_P_STEP * (weight * mixed[1] + slope * r_p)


@allocating
def fill_burned_table(nodes, nasa, atoms, element_moles, inert_moles, frozen, frozen_R):
    """Fill the nodes; NaN where equilibrium was not found.

    Parameters
    ----------
    nodes : ndarray (39, 12, 8)
        Filled, see `BurnedTable`.
    nasa, atoms : ndarray (11, 2, 7), (11, 4)
        The reacting species, see `equilibrium.reacting_data`.
    element_moles, inert_moles : ndarray (4,), float
        C, H, O, N and argon [mol/kg].
    frozen, frozen_R : ndarray (2, 7), float
        The frozen burned gas.
    """
    h, g, cp = np.empty(N_SPECIES), np.empty(N_SPECIES), np.empty(N_SPECIES)
    log_n, row_start = np.empty(N_SPECIES + 1), np.empty(N_SPECIES + 1)
    cold_guess(row_start)
    near = 0.02  # in ln p, for the mixed slopes
    for i in range(N_TEMPERATURES - 1, -1, -1):
        T = FREEZE_K + STEP_K * i
        standard_state(T, nasa, h, g, cp)
        log_n[:] = row_start
        for j in range(N_PRESSURES):
            log_p = LOG_P_FIRST + LOG_P_STEP * j
            ok = equilibrate(log_p - near, g, atoms, element_moles, inert_moles, log_n) > 0
            below = shifting_properties(T, h, cp, atoms, inert_moles, log_n)
            ok &= equilibrate(log_p + near, g, atoms, element_moles, inert_moles, log_n) > 0
            above = shifting_properties(T, h, cp, atoms, inert_moles, log_n)
            ok &= equilibrate(log_p, g, atoms, element_moles, inert_moles, log_n) > 0
            here = shifting_properties(T, h, cp, atoms, inert_moles, log_n)
            mixed = (above[2] - below[2]) / (2 * near), (above[3] - below[3]) / (2 * near)
            fill_node(nodes[i, j], T, here, mixed, frozen, frozen_R)
            if j == 0:
                row_start[:] = log_n
            if not ok:
                nodes[i, j] = np.nan


# Scalars go in, not the table: an array handed on costs reference counting at every call.


@kernel
def hermite(f0, f1, d0, d1, s):
    """Cubic with values f0, f1 and slopes d0, d1 at s = 0, 1: its value and slope at ``s``."""
    rise = f1 - f0
    c2 = 3.0 * rise - 2.0 * d0 - d1
    c3 = d0 + d1 - 2.0 * rise
    return f0 + s * (d0 + s * (c2 + s * c3)), d0 + s * (2.0 * c2 + s * (3.0 * c3))


@kernel
def across(low, high, low_slope, high_slope, q):
    """Hermite cubic in ln p through two columns, whose arguments are (value, slope by s) pairs.

    Returns the value and its slopes by s and by q.
    """
    value, by_q = hermite(low[0], high[0], low_slope[0], high_slope[0], q)
    by_s = hermite(low[1], high[1], low_slope[1], high_slope[1], q)[0]
    return value, by_s, by_q


@kernel
def place(T, log_p):
    """Where a state lies in the table, for ``T`` from FREEZE_K up.

    Beyond 3400 K one goes on along the last slope in T, with the slope in p left as it was there;
    beyond 0.15 and 200 bar the edge holds.

    Returns
    -------
    i, j : int
        Cell.
    s, q : float
        Shares of the cell passed in T and in ln p, 0 to 1.
    beyond_K, per_log_p : float
        How far T lies beyond the table [K]; cells per unit of ln p, 0 outside.
    """
    capped = min(T, LAST_K)
    row = capped * (1.0 / STEP_K) - FREEZE_K / STEP_K
    column = (log_p - LOG_P_FIRST) * (1.0 / LOG_P_STEP)
    per_log_p = 1.0 / LOG_P_STEP if 0.0 <= column <= LAST_COLUMN else 0.0
    column = min(max(column, 0.0), LAST_COLUMN)
    # Bounded on both sides since a NaN becomes any integer.
    i = max(0, min(int(row), N_TEMPERATURES - 2))
    j = max(0, min(int(column), N_PRESSURES - 2))
    return i, j, row - i, column - j, T - capped, per_log_p
