"""Flow-bench air: what a flow at a test pressure says about a valve, on either convention.

Bench convention: flow over area times sqrt(2 dp / rho), air of constant density. Isentropic
convention, which the cycle uses: mass flow over area times that of an ideal nozzle at the same
pressures. At 28 inH2O the same flow gives figures 3.9 % apart, so a coefficient always says which.

References
----------
J. B. Heywood, Internal Combustion Engine Fundamentals, 1988, sec. 6.3.2 and app. C (from memory).
"""

from __future__ import annotations

import math
from typing import Literal

from breathe.engine.parts import Side

Convention = Literal["bench", "isentropic"]

AIR_DENSITY = 1.2
"""Air on a flow bench that states no temperature [kg/m3], 20 degC and 1.01 bar."""
AIR_PRESSURE_PA = 101_325.0
AIR_GAS_CONSTANT = 287.05
"""[J/(kg K)]"""
_GAMMA = 1.4


def air_density(temperature_K: float, pressure_Pa: float = AIR_PRESSURE_PA) -> float:
    """Density of dry air [kg/m3]."""
    return pressure_Pa / (AIR_GAS_CONSTANT * temperature_K)


def bench_speed(test_pressure_Pa: float, density_kg_m3: float = AIR_DENSITY) -> float:
    """Ideal flow per area on the bench convention [m/s], sqrt(2 dp / rho).

    Examples
    --------
    >>> round(bench_speed(6974.49, 1.225), 3)
    106.71
    """
    return math.sqrt(2.0 * test_pressure_Pa / density_kg_m3)


def isentropic_speed(
    test_pressure_Pa: float,
    side: Side,
    density_kg_m3: float = AIR_DENSITY,
    ambient_Pa: float = AIR_PRESSURE_PA,
) -> float:
    """Ideal nozzle flow per area, as volume at the density of the room [m/s].

    An intake port draws from the room into the test pressure below it; an exhaust port blows from
    the test pressure above it into the room.

    Parameters
    ----------
    test_pressure_Pa : float
        Pressure difference over the port, far too small to choke it.
    side : {'intake', 'exhaust'}
    density_kg_m3, ambient_Pa : float
        Air in the room.
    """
    if side == "intake":
        upstream, downstream = ambient_Pa, ambient_Pa - test_pressure_Pa
    else:
        upstream, downstream = ambient_Pa + test_pressure_Pa, ambient_Pa
    ratio = downstream / upstream
    share = ratio ** (2.0 / _GAMMA) - ratio ** ((_GAMMA + 1.0) / _GAMMA)
    flow_function = math.sqrt(2.0 * _GAMMA / (_GAMMA - 1.0) * share)
    return upstream / ambient_Pa * math.sqrt(ambient_Pa / density_kg_m3) * flow_function


def to_isentropic(
    test_pressure_Pa: float, side: Side, ambient_Pa: float = AIR_PRESSURE_PA
) -> float:
    """Factor from a coefficient on the bench convention to the isentropic one; no density in it.

    Examples
    --------
    >>> round(1 / to_isentropic(6974.49, "intake"), 4)
    0.9624
    """
    at = {"density_kg_m3": AIR_DENSITY, "ambient_Pa": ambient_Pa}
    return bench_speed(test_pressure_Pa) / isentropic_speed(test_pressure_Pa, side, **at)


def same_flow_at(flow: float, from_Pa: float, to_Pa: float) -> float:
    """A flow brought to another test pressure: by the root of their ratio.

    Common practice, no source; good to about 2 % (the Reynolds number and compressibility change).

    Examples
    --------
    >>> round(same_flow_at(1.0, 10, 28), 3)
    1.673
    """
    return flow * math.sqrt(to_Pa / from_Pa)
