"""Closed-form relations of gas dynamics, written out independently of the code under test.

Ideal gas, Darcy friction factors throughout. Used as references; each row of a published table
that they reproduce is checked in test_gas_exact.py or test_nozzle_exact.py.
"""

from __future__ import annotations

from math import log, pi, sqrt, tan
from typing import NamedTuple

from scipy.optimize import brentq


class Isentropic(NamedTuple):
    pressure: float  # p/pt
    density: float  # rho/rhot
    temperature: float  # T/Tt
    area: float  # A/A*
    dynamic_pressure: float  # q/pt
    speed: float  # V/a*


def isentropic(mach: float, g: float = 1.4) -> Isentropic:
    """NACA Report 1135 (1953), eqs. 43-45, 50, 80."""
    t = 1 / (1 + (g - 1) / 2 * mach**2)
    p = t ** (g / (g - 1))
    choked = 2 / (g + 1) / t
    area = choked ** ((g + 1) / (2 * (g - 1))) / mach
    return Isentropic(
        p, t ** (1 / (g - 1)), t, area, g / 2 * mach**2 * p, mach * sqrt((g + 1) / 2 * t)
    )


class Shock(NamedTuple):
    mach: float
    pressure: float
    density: float
    temperature: float
    stagnation_pressure: float


def normal_shock(mach: float, g: float = 1.4) -> Shock:
    """NACA Report 1135 (1953), eqs. 93-99: behind over ahead."""
    p = 1 + 2 * g / (g + 1) * (mach**2 - 1)
    rho = (g + 1) * mach**2 / ((g - 1) * mach**2 + 2)
    after = sqrt(((g - 1) * mach**2 + 2) / (2 * g * mach**2 - (g - 1)))
    stagnation = p * isentropic(mach, g).pressure / isentropic(after, g).pressure
    return Shock(after, p, rho, p / rho, stagnation)


class Fanno(NamedTuple):
    friction_length: float  # f_D L*/D
    temperature: float  # T/T*
    pressure: float  # p/p*
    stagnation_pressure: float  # pt/pt*


def fanno(mach: float, g: float = 1.4) -> Fanno:
    """Shapiro, The Dynamics and Thermodynamics of Compressible Fluid Flow (1953), ch. 6."""
    t = (g + 1) / 2 / (1 + (g - 1) / 2 * mach**2)
    length = (1 - mach**2) / (g * mach**2) + (g + 1) / (2 * g) * log(mach**2 * t)
    return Fanno(length, t, sqrt(t) / mach, isentropic(mach, g).area)


class Rayleigh(NamedTuple):
    stagnation_temperature: float  # T0/T0*
    temperature: float  # T/T*
    pressure: float  # p/p*
    stagnation_pressure: float  # p0/p0*
    speed: float  # V/V*


def rayleigh(mach: float, g: float = 1.4) -> Rayleigh:
    """Shapiro (1953), ch. 7."""
    p = (1 + g) / (1 + g * mach**2)
    t = (p * mach) ** 2
    t0 = t * isentropic(1, g).temperature / isentropic(mach, g).temperature
    p0 = p * isentropic(1, g).pressure / isentropic(mach, g).pressure
    return Rayleigh(t0, t, p, p0, p * mach**2)


class SimpleWave(NamedTuple):
    """Crest of a wave that runs into gas at rest at pressure 1 and sound speed a0."""

    x: float  # (p/p0)^((g-1)/(2g))
    speed: float
    propagation: float


def simple_wave(pressure_ratio: float, a0: float, g: float = 1.4) -> SimpleWave:
    """Earnshaw's relation; Benson, Thermodynamics and Gas Dynamics of ICE (1982), vol. 1."""
    x = pressure_ratio ** ((g - 1) / (2 * g))
    u = 2 / (g - 1) * a0 * (x - 1)
    return SimpleWave(x, u, a0 * x + u)


def pressure_of(x: float, g: float = 1.4) -> float:
    """p/p0 of a state on one isentrope from its dimensionless sound speed."""
    return float(x ** (2 * g / (g - 1)))


def closed_end_pressure(pressure_ratio: float, g: float = 1.4) -> float:
    """p/p0 at a closed end while a simple wave reflects."""
    x = simple_wave(pressure_ratio, 1.0, g).x
    return pressure_of(2 * x - 1, g)


def open_end_reflection(pressure_ratio: float, g: float = 1.4) -> float:
    """p/p0 of the wave reflected from an open end in subsonic outflow (end pressure 1)."""
    x = simple_wave(pressure_ratio, 1.0, g).x
    return pressure_of(2 - x, g)


def open_end_outflow_mach(pressure_ratio: float, g: float = 1.4) -> float:
    """Mach number in an open end in outflow; the sound speed there is that at rest."""
    return 4 / (g - 1) * (simple_wave(pressure_ratio, 1.0, g).x - 1)


class BellInflow(NamedTuple):
    reflected: float  # p/p0 of the reflected wave
    plane_pressure: float  # p/p0 in the end plane
    mach: float


def bell_inflow(pressure_ratio: float, g: float = 1.4) -> BellInflow:
    """Isentropic inflow through a bell mouth drawn by an incident rarefaction.

    Energy from the outside air at rest: a^2 + (g-1)/2 u^2 = a0^2, with a/a0 = Xi + Xr - 1 and
    u/a0 = 2/(g-1) (Xi - Xr). Benson (1982); Wallace & Nassif, Proc. IMechE 168 (1954) 1019.
    """
    xi = simple_wave(pressure_ratio, 1.0, g).x

    def energy(xr: float) -> float:
        return (xi + xr - 1) ** 2 + 2 / (g - 1) * (xi - xr) ** 2 - 1

    xr = brentq(energy, 1.0, 2 - xi, xtol=1e-15)
    a = xi + xr - 1
    return BellInflow(pressure_of(xr, g), pressure_of(a, g), 2 / (g - 1) * (xr - xi) / a)


def blowdown(
    time: float, p0: float, T0: float, volume: float, area: float, R: float, g: float = 1.4
) -> tuple[float, float]:
    """Pressure and temperature in an insulated tank that empties through a choked hole."""
    choked = (2 / (g + 1)) ** ((g + 1) / (2 * (g - 1)))
    k = (g - 1) / 2 * choked * sqrt(g * R * T0) * area / volume
    x = 1 / (1 + k * time)
    return p0 * pressure_of(x, g), T0 * x**2


def quarter_wave_frequency(length: float, end_correction: float, a: float) -> float:
    """Lowest frequency of a pipe closed at one end [Hz]."""
    return a / (4 * (length + end_correction))


def helmholtz_frequency(volume: float, area: float, length: float, a: float) -> float:
    """Lumped neck of effective ``length`` on a volume [Hz]."""
    return a / (2 * pi) * sqrt(area / (volume * length))


def neck_line_frequency(volume: float, area: float, length: float, a: float) -> float:
    """As `helmholtz_frequency` with the neck as a line that carries waves: kL tan kL = A L / V."""
    m = area * length / volume
    kl = brentq(lambda x: x * tan(x) - m, 1e-9, pi / 2 - 1e-9, xtol=1e-14)
    return kl * a / (2 * pi * length)


def step_reflection(area_in: float, area_out: float) -> float:
    """Pressure reflection of a weak wave at an area step; several branches out add up."""
    return (area_in - area_out) / (area_in + area_out)
