"""Exact solution of the Riemann problem of an ideal gas: two uniform states, one diaphragm.

It is the reference the approximate fluxes of the pipes are measured against. Kernels only: any
consistent units, no checks. Both sides must hold gas (density and pressure above zero); a vacuum
may open between them and is then part of the solution.

References
----------
E. F. Toro, Riemann Solvers and Numerical Methods for Fluid Dynamics, 3rd ed. 2009, ch. 4
(equation numbers from memory).
"""

from __future__ import annotations

import math
from typing import NamedTuple

from breathe.kernel import kernel

MAX_STEPS = 60
TOLERANCE = 1e-15


class StarState(NamedTuple):
    """Between the two outer waves, left and right of the contact."""

    pressure: float
    velocity: float
    density_left: float
    density_right: float


class WaveSpeeds(NamedTuple):
    """From left to right. A shock has one speed: its head and tail are equal."""

    left_head: float
    left_tail: float
    contact: float
    right_tail: float
    right_head: float


class State(NamedTuple):
    """Gas at one place."""

    density: float
    velocity: float
    pressure: float


@kernel
def sound_speed(rho: float, p: float, gamma: float) -> float:
    """sqrt(gamma p / rho)."""
    return math.sqrt(gamma * p / rho)


@kernel
def vacuum_opens(
    rho_l: float, u_l: float, p_l: float, rho_r: float, u_r: float, p_r: float, gamma: float
) -> bool:
    """Whether the two gases part faster than they can expand (Toro eq. 4.40)."""
    reach = sound_speed(rho_l, p_l, gamma) + sound_speed(rho_r, p_r, gamma)
    return 2.0 / (gamma - 1.0) * reach <= u_r - u_l


@kernel
def velocity_change(p: float, rho_k: float, p_k: float, gamma: float) -> tuple[float, float]:
    """Velocity change across the wave that takes side k to pressure p, and its slope in p.

    A shock above p_k, a rarefaction below it (Toro eqs. 4.6, 4.7, 4.37).
    """
    if p > p_k:
        a = 2.0 / ((gamma + 1.0) * rho_k)
        b = (gamma - 1.0) / (gamma + 1.0) * p_k
        root = math.sqrt(a / (p + b))
        return (p - p_k) * root, root * (1.0 - 0.5 * (p - p_k) / (p + b))
    c = sound_speed(rho_k, p_k, gamma)
    power = (p / p_k) ** (0.5 * (gamma - 1.0) / gamma)
    slope = power / (p / p_k) / (rho_k * c)
    return 2.0 * c / (gamma - 1.0) * (power - 1.0), slope


@kernel
def star_density(p: float, rho_k: float, p_k: float, gamma: float) -> float:
    """Density behind the wave that takes side k to pressure p (Toro eqs. 4.50, 4.53)."""
    ratio = p / p_k
    if ratio > 1.0:
        g = (gamma - 1.0) / (gamma + 1.0)
        return rho_k * (ratio + g) / (g * ratio + 1.0)
    return rho_k * ratio ** (1.0 / gamma)


@kernel
def star_pressure(
    rho_l: float, u_l: float, p_l: float, rho_r: float, u_r: float, p_r: float, gamma: float
) -> float:
    """Pressure between the outer waves by Newton's method (no vacuum; Toro eq. 4.5)."""
    # The sum of both velocity changes rises and bends downwards with p, so from below the root the
    # steps rise to it; from above one step lands below, and the floor keeps that one positive.
    x = 0.5 * (gamma - 1.0) / gamma
    a_l = sound_speed(rho_l, p_l, gamma)
    a_r = sound_speed(rho_r, p_r, gamma)
    two_fans = (a_l + a_r - 0.5 * (gamma - 1.0) * (u_r - u_l)) / (a_l / p_l**x + a_r / p_r**x)
    p = two_fans ** (1.0 / x)
    for _ in range(MAX_STEPS):
        f_l, slope_l = velocity_change(p, rho_l, p_l, gamma)
        f_r, slope_r = velocity_change(p, rho_r, p_r, gamma)
        before = p
        p = max(p - (f_l + f_r + u_r - u_l) / (slope_l + slope_r), 0.01 * p)
        if abs(p - before) <= TOLERANCE * p:
            break
    return p


@kernel
def star_state(
    rho_l: float, u_l: float, p_l: float, rho_r: float, u_r: float, p_r: float, gamma: float
) -> StarState:
    """State between the outer waves.

    Parameters
    ----------
    rho_l, u_l, p_l, rho_r, u_r, p_r : float
        Density [kg/m3], velocity [m/s] and pressure [Pa] left and right of the diaphragm.
    gamma : float
        Heat capacity ratio of both gases [-].

    Returns
    -------
    StarState
        Pressure, velocity, density left and right of the contact. If a vacuum opens, pressure and
        densities are 0 and the velocity is the mean of the two gas fronts.

    Examples
    --------
    >>> star = star_state(1.0, 0.0, 1.0, 0.125, 0.0, 0.1, 1.4)  # Sod's tube
    >>> round(star.pressure, 5), round(star.velocity, 5)
    (0.30313, 0.92745)
    """
    if vacuum_opens(rho_l, u_l, p_l, rho_r, u_r, p_r, gamma):
        front_l = u_l + 2.0 * sound_speed(rho_l, p_l, gamma) / (gamma - 1.0)
        front_r = u_r - 2.0 * sound_speed(rho_r, p_r, gamma) / (gamma - 1.0)
        return StarState(0.0, 0.5 * (front_l + front_r), 0.0, 0.0)
    p = star_pressure(rho_l, u_l, p_l, rho_r, u_r, p_r, gamma)
    f_l, _ = velocity_change(p, rho_l, p_l, gamma)
    f_r, _ = velocity_change(p, rho_r, p_r, gamma)
    return StarState(
        p,
        0.5 * (u_l + u_r) + 0.5 * (f_r - f_l),
        star_density(p, rho_l, p_l, gamma),
        star_density(p, rho_r, p_r, gamma),
    )


@kernel
def left_wave(
    rho: float, u: float, p: float, gamma: float, p_star: float, u_star: float
) -> tuple[float, float]:
    """Head and tail speed of the wave into the left gas (Toro eqs. 4.52, 4.55).

    The right wave is the same seen in a mirror: negate the velocities in, and the speeds out.
    """
    c = sound_speed(rho, p, gamma)
    if p_star > p:
        shock = u - c * math.sqrt(0.5 * ((gamma + 1.0) * p_star / p + (gamma - 1.0)) / gamma)
        return shock, shock
    if p_star == 0.0:
        return u - c, u + 2.0 * c / (gamma - 1.0)
    return u - c, u_star - c * (p_star / p) ** (0.5 * (gamma - 1.0) / gamma)


@kernel
def wave_speeds(
    rho_l: float, u_l: float, p_l: float, rho_r: float, u_r: float, p_r: float, gamma: float
) -> WaveSpeeds:
    """Speeds of head and tail of both outer waves, and of the contact [m/s].

    Arguments as for `star_state`. If a vacuum opens, the tails are the fronts of the two gases.
    """
    star = star_state(rho_l, u_l, p_l, rho_r, u_r, p_r, gamma)
    head_l, tail_l = left_wave(rho_l, u_l, p_l, gamma, star.pressure, star.velocity)
    head_r, tail_r = left_wave(rho_r, -u_r, p_r, gamma, star.pressure, -star.velocity)
    return WaveSpeeds(head_l, tail_l, star.velocity, -tail_r, -head_r)


@kernel
def left_of_contact(
    rho: float, u: float, p: float, gamma: float, p_star: float, u_star: float, speed: float
) -> State:
    """Gas on the ray x/t = speed, at or left of the contact (Toro eqs. 4.50, 4.53, 4.56)."""
    head, tail = left_wave(rho, u, p, gamma, p_star, u_star)
    if speed <= head:
        return State(rho, u, p)
    if speed >= tail:
        if p_star == 0.0:
            return State(0.0, speed, 0.0)
        return State(star_density(p_star, rho, p, gamma), u_star, p_star)
    c = sound_speed(rho, p, gamma)
    c_fan = (2.0 * c + (gamma - 1.0) * (u - speed)) / (gamma + 1.0)
    cooling = (c_fan / c) ** (2.0 / (gamma - 1.0))
    return State(rho * cooling, speed + c_fan, p * cooling**gamma)


@kernel
def sample(
    speed: float,
    rho_l: float,
    u_l: float,
    p_l: float,
    rho_r: float,
    u_r: float,
    p_r: float,
    gamma: float,
) -> State:
    """Exact solution on the ray x/t = ``speed`` from the diaphragm.

    Parameters
    ----------
    speed : float
        Place over time since the diaphragm burst [m/s].
    rho_l, u_l, p_l, rho_r, u_r, p_r, gamma : float
        As for `star_state`.

    Returns
    -------
    State
        Density, velocity, pressure. Inside a vacuum density and pressure are 0 and the velocity is
        the ray's own, so that it joins both gas fronts continuously.
    """
    star = star_state(rho_l, u_l, p_l, rho_r, u_r, p_r, gamma)
    if speed <= star.velocity:
        return left_of_contact(rho_l, u_l, p_l, gamma, star.pressure, star.velocity, speed)
    mirrored = left_of_contact(rho_r, -u_r, p_r, gamma, star.pressure, -star.velocity, -speed)
    return State(mirrored.density, -mirrored.velocity, mirrored.pressure)
