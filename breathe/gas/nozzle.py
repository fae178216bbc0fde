"""Isentropic flow of an ideal gas through an opening, sonic or not.

Kernels only: SI scalars, no checks, no I/O. Areas are effective areas (discharge coefficient
included) on the isentropic basis; they come from the caller.
"""

from __future__ import annotations

import math

from breathe.kernel import kernel


@kernel
def critical_ratio(gamma: float) -> float:
    """Pressure ratio at which the throat becomes sonic.

    Parameters
    ----------
    gamma : float
        Heat capacity ratio of the upstream gas, above 1 [-].

    Returns
    -------
    float
        Throat static over upstream stagnation pressure [-].

    References
    ----------
    J. B. Heywood, Internal Combustion Engine Fundamentals, 1988, app. C (from memory).

    Examples
    --------
    >>> round(critical_ratio(1.4), 6)
    0.528282
    """
    return (2.0 / (gamma + 1.0)) ** (gamma / (gamma - 1.0))


@kernel
def flow_function(pressure_ratio: float, gamma: float) -> float:
    """Mass flow per area, made dimensionless by the upstream pressure and temperature.

    Constant below the critical ratio, where no news from downstream reaches the throat; it meets
    that plateau with zero slope. Zero for ratios of 1 and above.

    Parameters
    ----------
    pressure_ratio : float
        Static pressure downstream over stagnation pressure upstream [-].
    gamma : float
        Heat capacity ratio of the upstream gas, above 1 [-].

    Returns
    -------
    float
        Mass flow * sqrt(R T_up) / (area * p_up) [-].

    References
    ----------
    J. B. Heywood, Internal Combustion Engine Fundamentals, 1988, eqs. C.8, C.9 (from memory).

    Examples
    --------
    >>> round(flow_function(0.4, 1.4), 6)  # choked
    0.684731
    """
    ratio = min(max(pressure_ratio, critical_ratio(gamma)), 1.0)
    # One logarithm serves both powers; expm1 keeps the digits of 1 - ratio^x as ratio -> 1.
    log_ratio = math.log(ratio)
    enthalpy_drop = -math.expm1((gamma - 1.0) / gamma * log_ratio)  # [cp T_up]
    return math.exp(log_ratio / gamma) * math.sqrt(2.0 * gamma / (gamma - 1.0) * enthalpy_drop)


@kernel
def mass_flow(
    area: float, p_up: float, T_up: float, p_down: float, R: float, gamma: float
) -> float:
    """Mass flow through an opening from a stagnant gas to a lower pressure.

    Parameters
    ----------
    area : float
        Effective area [m2].
    p_up, T_up : float
        Stagnation pressure [Pa] and temperature [K] upstream.
    p_down : float
        Static pressure at the opening's downstream side [Pa].
    R, gamma : float
        Gas constant [J/(kg K)] and heat capacity ratio [-] of the upstream gas.

    Returns
    -------
    float
        Mass flow, never negative [kg/s].

    References
    ----------
    J. B. Heywood, Internal Combustion Engine Fundamentals, 1988, eqs. C.8, C.9 (from memory).

    Examples
    --------
    >>> round(mass_flow(1e-4, 101325.0, 288.15, 5e4, 287.05, 1.4), 8)
    0.02412397
    """
    return area * p_up / math.sqrt(R * T_up) * flow_function(p_down / p_up, gamma)


@kernel
def two_way_flow(
    area_ab: float,
    area_ba: float,
    p_a: float,
    T_a: float,
    R_a: float,
    gamma_a: float,
    p_b: float,
    T_b: float,
    R_b: float,
    gamma_b: float,
) -> float:
    """Mass flow between two stagnant gases, whichever way the pressures drive it.

    Swapping the two sides (with their areas) changes the sign and nothing else.

    Parameters
    ----------
    area_ab, area_ba : float
        Effective area for flow from a to b, and from b to a [m2].
    p_a, T_a, R_a, gamma_a, p_b, T_b, R_b, gamma_b : float
        Pressure [Pa], temperature [K], gas constant [J/(kg K)] and heat capacity ratio [-].

    Returns
    -------
    float
        Mass flow, positive from a to b [kg/s].
    """
    if p_a >= p_b:
        return mass_flow(area_ab, p_a, T_a, p_b, R_a, gamma_a)
    return -mass_flow(area_ba, p_b, T_b, p_a, R_b, gamma_b)
