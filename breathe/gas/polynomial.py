"""Properties of an ideal gas of fixed composition from its NASA polynomials. Kernels only.

Coefficients ``a`` are (2, 7): rows below and above 1000 K, per kg of gas; a0..a4 of cp, a5 of
enthalpy, a6 of entropy. Enthalpies hold the heat of formation (zero for elements at 298.15 K), so
combustion is a change of composition at constant energy. Good for 200 to 6000 K.

B. J. McBride, S. Gordon, M. A. Reno, NASA TM-4513, 1993 (form and data).
"""

from __future__ import annotations

import math

from breathe.kernel import kernel

BREAK_K = 1000.0


@kernel
def heat_capacity(T, a):
    """Heat capacity at constant pressure [J/(kg K)] at ``T`` [K]."""
    k = 1 if T >= BREAK_K else 0
    return a[k, 0] + T * (a[k, 1] + T * (a[k, 2] + T * (a[k, 3] + T * a[k, 4])))


@kernel
def enthalpy(T, a):
    """Enthalpy, formation included [J/kg], at ``T`` [K]."""
    k = 1 if T >= BREAK_K else 0
    high = a[k, 2] * (1 / 3) + T * (a[k, 3] * 0.25 + T * (a[k, 4] * 0.2))
    return a[k, 5] + T * (a[k, 0] + T * (a[k, 1] * 0.5 + T * high))


@kernel
def internal_energy(T, a, R):
    """Internal energy, formation included [J/kg], at ``T`` [K]; ``R`` is the gas constant."""
    return enthalpy(T, a) - R * T


@kernel
def entropy0(T, a):
    """Entropy at 1 atm [J/(kg K)] at ``T`` [K]; take R ln(p/101325 Pa) off for other pressures."""
    k = 1 if T >= BREAK_K else 0
    high = a[k, 2] * 0.5 + T * (a[k, 3] * (1 / 3) + T * (a[k, 4] * 0.25))
    return a[k, 0] * math.log(T) + T * (a[k, 1] + T * high) + a[k, 6]
