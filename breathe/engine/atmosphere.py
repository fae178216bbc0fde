"""The day's air: pressure by altitude, and what relative humidity means in water.

Users know their altitude, a thermometer and a hygrometer; the engine wants pressure and the mass
of vapour per dry air.

References
----------
ISO 2533:1975, Standard Atmosphere (constants; from memory, confirmed by tabulated values).
A. L. Buck, J. Appl. Meteorol. 20 (1981) 1527, with the coefficients of 1996 (from memory).
"""

from __future__ import annotations

import math

SEA_LEVEL_PRESSURE_PA = 101_325.0
SEA_LEVEL_TEMPERATURE_K = 288.15
LAPSE_K_PER_M = 0.0065
GRAVITY = 9.80665
"""Standard acceleration of free fall [m/s2]."""
EARTH_RADIUS_M = 6_356_766.0
TROPOPAUSE_M = 11_000.0
LOWEST_M = -2_000.0
DRY_AIR_R = 287.055
"""Gas constant of dry air [J/(kg K)]; the standard atmosphere rounds its own to 287.053."""
STANDARD_AIR_R = 287.05287
VAPOUR_R = 461.5
"""Gas constant of water vapour [J/(kg K)]."""


def geopotential_height(altitude_m: float) -> float:
    """Geopotential height of a geometric altitude [m]; 0.6 m less at 2000 m (ISO 2533 eq. 8)."""
    return EARTH_RADIUS_M * altitude_m / (EARTH_RADIUS_M + altitude_m)


def _checked_height(geopotential_m: float) -> float:
    if not LOWEST_M <= geopotential_m <= TROPOPAUSE_M:
        raise ValueError(
            f"altitude: found {geopotential_m:g} m; expected {LOWEST_M:g} to {TROPOPAUSE_M:g} m"
        )
    return geopotential_m


def standard_temperature(geopotential_m: float) -> float:
    """Temperature of the standard atmosphere below the tropopause.

    Parameters
    ----------
    geopotential_m : float
        Geopotential height, -2000 to 11000 m; altitude serves within 0.02 K up to 4000 m.

    Returns
    -------
    float
        Temperature [K].

    Raises
    ------
    ValueError
        Outside the range.

    Examples
    --------
    >>> round(standard_temperature(2000.0), 2)
    275.15
    """
    return SEA_LEVEL_TEMPERATURE_K - LAPSE_K_PER_M * _checked_height(geopotential_m)


def standard_pressure(geopotential_m: float) -> float:
    """Pressure of the standard atmosphere below the tropopause.

    Parameters
    ----------
    geopotential_m : float
        Geopotential height, -2000 to 11000 m; altitude serves within 0.03 % up to 4000 m.

    Returns
    -------
    float
        Pressure [Pa].

    Raises
    ------
    ValueError
        Outside the range.

    Examples
    --------
    >>> round(standard_pressure(1000.0), 1)
    89874.6
    """
    cooling = standard_temperature(geopotential_m) / SEA_LEVEL_TEMPERATURE_K
    exponent = GRAVITY / (STANDARD_AIR_R * LAPSE_K_PER_M)
    return SEA_LEVEL_PRESSURE_PA * float(cooling**exponent)


def saturation_pressure(temperature_K: float) -> float:
    """Pressure of water vapour over liquid water in balance.

    Parameters
    ----------
    temperature_K : float
        233.15 to 333.15 K (-40 to 60 degC); below freezing over supercooled water, as relative
        humidity is defined in meteorology.

    Returns
    -------
    float
        Pressure [Pa], within 0.05 % of steam tables from 0 to 50 degC.

    Raises
    ------
    ValueError
        Outside the range.

    Examples
    --------
    >>> round(saturation_pressure(293.15), -1)
    2340.0
    """
    t = temperature_K - 273.15  # [degC]
    if not -40.0 <= round(t, 6) <= 60.0:
        raise ValueError(f"air temperature: found {t:g} degC; expected -40 to 60 degC")
    return 611.21 * math.exp((18.678 - t / 234.5) * t / (257.14 + t))


def humidity_ratio(relative_humidity: float, temperature_K: float, pressure_Pa: float) -> float:
    """Mass of water vapour per mass of dry air.

    Parameters
    ----------
    relative_humidity : float
        0 to 1 [-].
    temperature_K, pressure_Pa : float
        Of the moist air [K], [Pa].

    Returns
    -------
    float
        Humidity ratio [kg/kg].

    Raises
    ------
    ValueError
        If the humidity is not a share, or the vapour alone would exceed the pressure.

    Examples
    --------
    >>> round(humidity_ratio(0.5, 293.15, 101325.0), 5)
    0.00726
    """
    if not 0.0 <= relative_humidity <= 1.0:
        raise ValueError(
            f"relative humidity: found {relative_humidity:g}; expected 0 to 1 (50 % is 0.5)"
        )
    vapour = relative_humidity * saturation_pressure(temperature_K)
    if vapour >= pressure_Pa:
        raise ValueError(
            f"air pressure: found {pressure_Pa:g} Pa; expected more than the {vapour:.0f} Pa "
            "of its water vapour"
        )
    return DRY_AIR_R / VAPOUR_R * vapour / (pressure_Pa - vapour)


def dry_pressure(pressure_Pa: float, humidity: float) -> float:
    """Partial pressure of the dry air, as power corrections ask for.

    Parameters
    ----------
    pressure_Pa : float
        Of the moist air [Pa].
    humidity : float
        Humidity ratio [kg/kg].

    Returns
    -------
    float
        Pressure [Pa].
    """
    return pressure_Pa / (1.0 + humidity * VAPOUR_R / DRY_AIR_R)


def moist_air_density(temperature_K: float, pressure_Pa: float, humidity: float) -> float:
    """Density of moist air as a mixture of ideal gases (0.05 % below the real gas).

    Parameters
    ----------
    temperature_K, pressure_Pa : float
        Of the moist air [K], [Pa].
    humidity : float
        Humidity ratio [kg/kg].

    Returns
    -------
    float
        Density, vapour included [kg/m3].

    Examples
    --------
    >>> round(moist_air_density(288.15, 101325.0, 0.0), 3)
    1.225
    """
    gas_constant = (DRY_AIR_R + humidity * VAPOUR_R) / (1.0 + humidity)
    return pressure_Pa / (gas_constant * temperature_K)
