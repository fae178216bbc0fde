"""Autoignition of the end gas: a relative index, not a promise.

The integral of time over ignition delay, along the end gas compressed by the burning rest. It knows
no low-temperature chemistry, no charge cooling and no deposits: compare settings with it, and
calibrate it on a knock limit measured by someone who knows how. It does not hold for gaseous fuels.
"""

from __future__ import annotations

import math

from breathe.kernel import kernel

ATMOSPHERE_PA = 101_325.0


@kernel
def ignition_delay(pressure_Pa: float, end_gas_K: float, octane: float) -> float:
    """Delay to autoignition [s] of gasoline of a given octane number.

    References
    ----------
    A. M. Douaud and P. Eyzat, SAE 780080, 1978 (from memory):
    ``17.68 ms (ON/100)^3.402 (p/atm)^-1.7 exp(3800 K/T)``.

    Examples
    --------
    >>> round(1e3 * ignition_delay(40 * 101_325.0, 900.0, 95.0), 3)  # ms
    1.917
    """
    quality = (0.01 * octane) ** 3.402
    pressure = (pressure_Pa / ATMOSPHERE_PA) ** -1.7
    return 17.68e-3 * quality * pressure * math.exp(3800.0 / end_gas_K)


@kernel
def compressed_temperature(temperature_K: float, pressure_ratio: float, gamma: float) -> float:
    """End gas temperature [K] after an isentropic pressure change of one step.

    ``gamma`` belongs to the unburned gas at the temperature before the step.
    """
    return temperature_K * pressure_ratio ** ((gamma - 1) / gamma)


@kernel
def knock_increment(pressure_Pa: float, end_gas_K: float, octane: float, step_s: float) -> float:
    """Growth of the index [-] over a step [s]; knock is likely once the sum from intake closing
    reaches 1 before about 90 % has burned.

    References
    ----------
    J. C. Livengood and P. C. Wu, 5th Symposium on Combustion, 1955, 347 (from memory).
    """
    return step_s / ignition_delay(pressure_Pa, end_gas_K, octane)
