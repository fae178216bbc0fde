"""Chemical equilibrium of hot burned gas.

Gibbs minimisation in the reduced form of S. Gordon and B. J. McBride, Computer Program for
Calculation of Complex Chemical Equilibrium Compositions and Applications, NASA RP-1311, 1994,
chapters 2 and 3 (from memory; checked against an independent solver in the tests). Symbols are
theirs: n_j moles of species j per kg, pi_i the Lagrange multiplier of element i over R T.

Eleven species react (`REACTING`), of four elements (`ELEMENTS`); argon is along for the ride.
Kernels: no checks, a failure shows as NaN.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from breathe.gas.species import GAS_CONSTANT, STANDARD_PRESSURE_PA, all_species
from breathe.kernel import allocating, kernel

Floats = NDArray[np.float64]

REACTING = ("CO2", "H2O", "CO", "H2", "O2", "N2", "OH", "H", "O", "NO", "N")
ELEMENTS = ("C", "H", "O", "N")
N_SPECIES = len(REACTING)
N_ELEMENTS = len(ELEMENTS)

_ARGON_CP = 2.5 * GAS_CONSTANT  # J/(mol K), monatomic
_ARGON_H0 = -298.15 * _ARGON_CP  # h = cp T + this; 0 at 298.15 K
_LOG_STANDARD = math.log(STANDARD_PRESSURE_PA)
_MAX_ITERATIONS = 200
_CORRECTION_LIMIT = 1e-8


def reacting_data() -> tuple[Floats, Floats]:
    """Atoms (11, 4) and NASA coefficients (11, 2, 7) of the reacting species."""
    table = [all_species()[name] for name in REACTING]
    atoms = np.array([[float(s.formula.get(e, 0)) for e in ELEMENTS] for s in table])
    return atoms, np.array([s.nasa for s in table])


@kernel
def standard_state(temperature, nasa, h, g, cp):
    """Fill h/(R T), g/(R T) at 1 atm and cp/R of every species [-], each (11,)."""
    row = 1 if temperature >= 1000.0 else 0
    t = temperature
    log_t = math.log(t)
    for j in range(N_SPECIES):
        a = nasa[j, row]
        cp[j] = a[0] + t * (a[1] + t * (a[2] + t * (a[3] + t * a[4])))
        h[j] = a[0] + t * (a[1] / 2 + t * (a[2] / 3 + t * (a[3] / 4 + t * a[4] / 5))) + a[5] / t
        s = a[0] * log_t + t * (a[1] + t * (a[2] / 2 + t * (a[3] / 3 + t * a[4] / 4))) + a[6]
        g[j] = h[j] - s


@kernel
def fill_matrix(m, atoms, n, n_total):
    """Left side (5, 5) of RP-1311's reduced system into ``m``: elements, then total moles."""
    for k in range(N_ELEMENTS + 1):
        for i in range(N_ELEMENTS + 1):
            m[k, i] = 0.0
    reacting = 0.0
    for j in range(N_SPECIES):
        reacting += n[j]
        for k in range(N_ELEMENTS):
            amount = atoms[j, k] * n[j]
            m[k, N_ELEMENTS] += amount
            for i in range(k + 1):
                m[k, i] += amount * atoms[j, i]
    for k in range(N_ELEMENTS):
        m[N_ELEMENTS, k] = m[k, N_ELEMENTS]
        for i in range(k):
            m[i, k] = m[k, i]
    m[N_ELEMENTS, N_ELEMENTS] = reacting - n_total


@kernel
def eliminate(m, rhs):
    """Solve ``m x = rhs`` (5 unknowns) in place by Gauss with row pivoting; x ends in ``rhs``.

    Own code since the library call costs more than the whole iteration at this size.
    """
    size = N_ELEMENTS + 1
    for c in range(size):
        pivot = c
        for r in range(c + 1, size):
            if abs(m[r, c]) > abs(m[pivot, c]):
                pivot = r
        if pivot != c:
            for i in range(c, size):
                m[c, i], m[pivot, i] = m[pivot, i], m[c, i]
            rhs[c], rhs[pivot] = rhs[pivot], rhs[c]
        for r in range(c + 1, size):
            factor = m[r, c] / m[c, c]
            for i in range(c + 1, size):
                m[r, i] -= factor * m[c, i]
            rhs[r] -= factor * rhs[c]
    for c in range(size - 1, -1, -1):
        for i in range(c + 1, size):
            rhs[c] -= m[c, i] * rhs[i]
        rhs[c] /= m[c, c]


@kernel
def step_limit(log_n, change, log_total, total_change):
    """Share of the full correction to take: RP-1311, eqs. 3.1 to 3.3."""
    largest = 5.0 * abs(total_change)
    share = 1.0
    for j in range(N_SPECIES):
        log_fraction = log_n[j] - log_total
        if log_fraction > -18.420681:
            largest = max(largest, change[j])
        elif change[j] > 0.0 and change[j] != total_change:
            share = min(share, abs((-log_fraction - 9.2103404) / (change[j] - total_change)))
    return min(share, 2.0 / max(largest, 2.0))


@allocating
def equilibrate(log_pressure, g, atoms, element_moles, inert_moles, log_n):
    """Equilibrium composition at given temperature and pressure.

    Parameters
    ----------
    log_pressure : float
        Natural logarithm of pressure in Pa.
    g : ndarray (11,)
        Gibbs energies over R T at 1 atm [-].
    atoms, element_moles : ndarray (11, 4), (4,)
        Atoms per molecule; atoms of each element per kg of gas [mol/kg]; none may be zero.
    inert_moles : float
        Argon [mol/kg].
    log_n : ndarray (12,)
        Logarithms of the moles per kg of each species and, last, of all together, argon
        included. In: a guess. Out: the answer.

    Returns
    -------
    int
        Iterations used, or -1 if it did not settle.
    """
    m = np.empty((N_ELEMENTS + 1, N_ELEMENTS + 1))
    x = np.empty(N_ELEMENTS + 1)
    n, mu, change = np.empty(N_SPECIES), np.empty(N_SPECIES), np.empty(N_SPECIES)
    for iteration in range(_MAX_ITERATIONS):
        log_total = log_n[N_SPECIES]
        n_total = math.exp(log_total)
        x[:N_ELEMENTS] = element_moles
        x[N_ELEMENTS] = n_total - inert_moles
        for j in range(N_SPECIES):
            n[j] = math.exp(log_n[j])
            mu[j] = g[j] + log_n[j] - log_total + log_pressure - _LOG_STANDARD
            for k in range(N_ELEMENTS):
                x[k] += atoms[j, k] * n[j] * (mu[j] - 1.0)
            x[N_ELEMENTS] += n[j] * (mu[j] - 1.0)
        fill_matrix(m, atoms, n, n_total)
        eliminate(m, x)
        total_change = x[N_ELEMENTS]
        error = n_total * abs(total_change)
        for j in range(N_SPECIES):
            change[j] = total_change - mu[j]
            for k in range(N_ELEMENTS):
                change[j] += atoms[j, k] * x[k]
            error += n[j] * abs(change[j])
        share = step_limit(log_n, change, log_total, total_change)
        for j in range(N_SPECIES):
            log_n[j] += share * change[j]
        log_n[N_SPECIES] += share * total_change
        # Newton squares this error in the step just taken.
        if share == 1.0 and error < _CORRECTION_LIMIT * n_total:
            return iteration + 1
    return -1


@kernel
def cold_guess(log_n):
    """Starting composition of RP-1311, section 3.2: 100 mol/kg in equal parts."""
    log_n[:N_SPECIES] = math.log(100.0 / N_SPECIES)
    log_n[N_SPECIES] = math.log(100.0)


@allocating
def shifting_properties(temperature, h, cp, atoms, inert_moles, log_n):
    """u and R of the gas in equilibrium, and how they shift.

    Derivatives of composition solve the same system with other right sides: RP-1311,
    tables 2.3 and 2.4.

    Returns
    -------
    tuple of 6 floats
        u [J/kg], R [J/(kg K)], du/dT at constant p, dR/dT, du/d(ln p) at constant T, dR/d(ln p).
    """
    m = np.empty((N_ELEMENTS + 1, N_ELEMENTS + 1))
    by_t, by_p = np.zeros(N_ELEMENTS + 1), np.zeros(N_ELEMENTS + 1)
    n = np.exp(log_n[:N_SPECIES])
    n_total = math.exp(log_n[N_SPECIES])
    for j in range(N_SPECIES):
        for k in range(N_ELEMENTS):
            by_t[k] -= atoms[j, k] * n[j] * h[j]
            by_p[k] += atoms[j, k] * n[j]
        by_t[N_ELEMENTS] -= n[j] * h[j]
        by_p[N_ELEMENTS] += n[j]
    fill_matrix(m, atoms, n, n_total)
    eliminate(m.copy(), by_t)
    eliminate(m, by_p)
    rt = GAS_CONSTANT * temperature
    u = inert_moles * (_ARGON_CP * temperature + _ARGON_H0 - rt)
    du_dt = inert_moles * (_ARGON_CP - GAS_CONSTANT)
    du_dlnp = 0.0
    for j in range(N_SPECIES):
        n_t = by_t[N_ELEMENTS] + h[j]  # d ln n_j / d ln T
        n_p = by_p[N_ELEMENTS] - 1.0  # d ln n_j / d ln p
        for k in range(N_ELEMENTS):
            n_t += atoms[j, k] * by_t[k]
            n_p += atoms[j, k] * by_p[k]
        energy = n[j] * (h[j] - 1.0)
        u += energy * rt
        du_dt += n[j] * (cp[j] - 1.0) * GAS_CONSTANT + energy * n_t * GAS_CONSTANT
        du_dlnp += energy * n_p * rt
    r = GAS_CONSTANT * n_total
    return u, r, du_dt, r * by_t[N_ELEMENTS] / temperature, du_dlnp, r * by_p[N_ELEMENTS]
