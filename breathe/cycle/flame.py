"""Laminar flame speed of gasoline vapour in air with burned gas in it. Kernels only.

D. B. Rhodes, J. C. Keck, Laminar Burning Speed Measurements of Indolene-Air-Diluent Mixtures at
High Pressures and Temperatures, SAE 850047, 1985 (constants from memory). For other fuels use it
for ratios only.
"""

from __future__ import annotations

from breathe.kernel import kernel

REFERENCE_K = 298.0
REFERENCE_PA = 101_325.0


@kernel
def residual_factor(mole_fraction):
    """Flame speed with burned gas over that without [-].

    1 - 2.06 x^0.77 with x the mole fraction of burned gas; 0 from x = 0.39 up, where no flame
    travels.
    """
    return max(0.0, 1.0 - 2.06 * max(0.0, mole_fraction) ** 0.77)


@kernel
def laminar_flame_speed(unburned_K, pressure_Pa, equivalence_ratio, residual_mole_fraction):
    """Laminar flame speed [m/s].

    S = (0.305 - 0.549 (phi - 1.21)^2) (T / 298 K)^a (p / 1 atm)^b f(residual), with
    a = 2.4 - 0.271 phi^3.51 and b = -0.357 + 0.14 phi^2.77; 0 where the fit has no flame
    (phi below 0.465, residual above 0.39). Measured over phi 0.7 to 1.6 or so; engine
    temperatures and pressures are an extrapolation.
    """
    phi = equivalence_ratio
    reference = max(0.0, 0.305 - 0.549 * (phi - 1.21) ** 2)
    of_temperature = (unburned_K / REFERENCE_K) ** (2.4 - 0.271 * phi**3.51)
    of_pressure = (pressure_Pa / REFERENCE_PA) ** (-0.357 + 0.14 * phi**2.77)
    return reference * of_temperature * of_pressure * residual_factor(residual_mole_fraction)
