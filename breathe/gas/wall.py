"""What a pipe wall does to the gas: friction, heat transfer, and the viscosity both rest on.

Kernels only: SI scalars, no checks, no I/O. Steady, fully developed flow in a round pipe is
assumed; pulsation and bends are the caller's multipliers.
"""

from __future__ import annotations

import math

from breathe.kernel import kernel

SUTHERLAND_FACTOR = 1.458e-6
"""Of air [kg/(m s sqrt(K))]."""
SUTHERLAND_K = 110.4
"""Of air [K]."""


@kernel
def air_viscosity(temperature: float) -> float:
    """Dynamic viscosity of air by Sutherland's law.

    Within 2.5 % of tables from 200 to 1200 K. It stands for exhaust gas too: 10 % in viscosity
    moves a smooth pipe's friction by 2.5 %.

    Parameters
    ----------
    temperature : float
        Above 0 [K].

    Returns
    -------
    float
        Dynamic viscosity [Pa s].

    References
    ----------
    U.S. Standard Atmosphere, 1976, eq. 51 and its constants (from memory).

    Examples
    --------
    >>> round(air_viscosity(288.15) * 1e5, 5)
    1.78938
    """
    return SUTHERLAND_FACTOR * temperature * math.sqrt(temperature) / (temperature + SUTHERLAND_K)


@kernel
def friction_factor(reynolds: float, relative_roughness: float) -> float:
    """Darcy friction factor of a pipe, laminar to fully rough, without iteration.

    Altshul's explicit form, never below the laminar 64/Re; the two meet near Re 1200, so the
    factor is continuous (transition is passed over). Against Colebrook's equation it is within 4 %
    for Re 4e3 to 1e6 and relative roughness up to 0.005, 9 % low at 0.01, 27 % low at 0.05.

    Parameters
    ----------
    reynolds : float
        On diameter and mean speed, not negative [-]. Below 1 the value at 1 is returned: drag goes
        with factor times speed squared, so nothing is left of it, and no flow gives no infinity.
    relative_roughness : float
        Roughness height over diameter [-].

    Returns
    -------
    float
        Darcy factor f, as in dp = f (L/D) rho u^2 / 2 (four times Fanning's) [-].

    References
    ----------
    A. D. Altshul, 1952, in: Hydraulic Resistance, 1970 (from memory). At zero roughness it is
    Blasius' 0.316 Re^(-1/4).

    Examples
    --------
    >>> round(friction_factor(1e5, 1e-3), 4)  # Colebrook: 0.0222
    0.0223
    >>> friction_factor(128.0, 0.0)
    0.5
    """
    # Selections, not `max`: that stops the vectoriser of the loops over cells.
    re = reynolds if reynolds > 1.0 else 1.0
    # The fourth root as two square roots: these vectorise, a power does not.
    turbulent = 0.11 * math.sqrt(math.sqrt(relative_roughness + 68.0 / re))
    laminar = 64.0 / re
    return turbulent if turbulent > laminar else laminar


@kernel
def stanton_number(friction: float, prandtl: float) -> float:
    """Heat transfer between gas and wall from the friction factor, by the Chilton-Colburn analogy.

    Parameters
    ----------
    friction : float
        Darcy friction factor [-].
    prandtl : float
        Prandtl number of the gas, about 0.7 [-].

    Returns
    -------
    float
        Stanton number h / (rho u cp) [-].

    References
    ----------
    T. H. Chilton, A. P. Colburn, Ind. Eng. Chem. 26 (1934) 1183 (from memory).

    Examples
    --------
    >>> round(stanton_number(0.0211, 0.71), 5)
    0.00331
    """
    return friction / 8.0 * prandtl ** (-2.0 / 3.0)
