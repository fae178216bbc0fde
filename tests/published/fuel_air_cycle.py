"""Flames and the ideal engine cycle with real gas, marched with the program's own gas kernels."""

from __future__ import annotations

import math
from typing import NamedTuple

from scipy.optimize import brentq

from breathe.gas import mixture as gas

ATM = 101_325.0  # Pa


class FuelAirCycle(NamedTuple):
    efficiency: float  # of the lower heating value of the vapour
    T2: float  # K, compressed
    T3: float  # K, burned
    p3: float  # Pa
    T4: float  # K, expanded
    imep: float  # Pa


def compressed(charge, residual, T1, p1, ratio):
    """(T, p) of the frozen blend when isentropically compressed; a ratio below 1 expands it."""
    a = (1 - residual) * charge.fresh + residual * charge.burned
    R = gas.gas_constant(residual, charge)

    def gain(T):
        pressure_ratio = ratio * T / T1
        return gas.entropy0(T, a) - gas.entropy0(T1, a) - R * math.log(pressure_ratio)

    T2 = brentq(gain, T1, T1 * ratio, xtol=1e-10)  # gamma lies between 1 and 2
    return T2, p1 * ratio * T2 / T1


def expanded(charge, u, v, T, p, ratio, steps=200):
    """(u, T) of burned gas after isentropic expansion, du = -p dv, Runge-Kutta 4 in ln v."""
    h, log_v = math.log(ratio) / steps, math.log(v)

    def rate(u, log_v):
        volume = math.exp(log_v)
        return -gas.state_from_u_v(u, volume, 1.0, charge, T, p)[1] * volume

    for _ in range(steps):
        k1 = rate(u, log_v)
        k2 = rate(u + h / 2 * k1, log_v + h / 2)
        k3 = rate(u + h / 2 * k2, log_v + h / 2)
        k4 = rate(u + h * k3, log_v + h)
        u, log_v = u + h / 6 * (k1 + 2 * k2 + 2 * k3 + k4), log_v + h
        T, p = gas.state_from_u_v(u, math.exp(log_v), 1.0, charge, T, p)
    return u, T


def fuel_air_cycle(fuel, phi, ratio, T1=388.0, p1=ATM, residual=0.05):
    """Isentropic compression, combustion at constant volume, isentropic expansion; no heat loss."""
    charge = gas.charge(fuel, phi)
    v1 = gas.gas_constant(residual, charge) * T1 / p1
    T2, p2 = compressed(charge, residual, T1, p1, ratio)
    u1, _ = gas.blend_u_cv(T1, residual, charge)
    u2, _ = gas.blend_u_cv(T2, residual, charge)
    T3, p3 = gas.state_from_u_v(u2, v1 / ratio, 1.0, charge, 2500.0, 3 * p2)
    u4, T4 = expanded(charge, u2, v1 / ratio, T3, p3, ratio)
    heat = (1 - residual) * charge.fuel_fraction * charge.fuel_heat
    return FuelAirCycle((u1 - u4) / heat, T2, T3, p3, T4, (u1 - u4) / (v1 - v1 / ratio))


def flame_temperature(charge, T, p):
    """Adiabatic flame temperature [K] at constant pressure, burned gas in equilibrium."""
    h = gas.enthalpy(T, charge.fresh)

    def excess(T_burned):
        u, R = gas.burned_hot(T_burned, p, charge)[:2]
        return u + R * T_burned - h

    return brentq(excess, 1700.0, 3390.0, xtol=1e-9)
