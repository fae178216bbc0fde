"""What a saving of fuel would be if the charge burnt otherwise: the burn is a correlation."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from scipy.interpolate import PchipInterpolator

from breathe.engine.parts import Engine, Operating
from breathe.study.control.part_load import Evaluate, Sweep, usable_row
from breathe.study.evaluate import Point

SLOWER = 1.2
"""Length of burning over the one assumed, by which such correlations miss (common practice, no
source)."""
SHARE_OF_DIFFERENCE = 0.5
"""Share of the difference in burning between two settings by which the correlation may miss it:
residual and pressure are outside its data at light load (common practice, no source)."""


def burning_slower(engine: Engine) -> Engine:
    """The same engine with a charge that burns `SLOWER` times as long."""
    length = engine.burn.duration_10_90_deg * SLOWER
    return replace(engine, burn=replace(engine.burn, duration_10_90_deg=length))


def slower_fuel(
    evaluate: Evaluate, sweeps: Sequence[Sweep], torque_Nm: float, lambda_: float
) -> list[float]:
    """Fuel [kg/s] of each sweep's setting at a torque when it burns slower; nan if not known.

    Each is run once, at the opening that gives the torque at the burn assumed; what torque that
    misses is put right along the sweep.

    Parameters
    ----------
    evaluate : callable
        Rows of points of `burning_slower`.
    sweeps : sequence of Sweep
        Of one speed, at the burn assumed.
    torque_Nm : float
    lambda_ : float
        Air ratio of the sweeps.
    """
    reached = {k: at for k, s in enumerate(sweeps) if (at := s.at_torque(torque_Nm)) is not None}
    points = [
        Point(
            sweeps[k].setting,
            Operating(
                speed_rpm=sweeps[k].speed_rpm,
                throttle=math.exp(min(at["log_opening"], 0.0)),
                lambda_=lambda_,
            ),
        )
        for k, at in reached.items()
    ]
    fuel = [math.nan] * len(sweeps)
    for k, row in zip(reached, evaluate(points), strict=True):
        if usable_row(row):
            slope = fuel_slope(sweeps[k], torque_Nm)
            fuel[k] = row["bsfc_kg_per_J"] * row["power_W"] + slope * (torque_Nm - row["torque_Nm"])
    return fuel


def fuel_slope(sweep: Sweep, torque_Nm: float) -> float:
    """Change of fuel with torque along a sweep [kg/s per Nm]."""
    torque, fuel = sweep.figures["torque_Nm"], sweep.figures["fuel_kg_per_s"]
    return float(PchipInterpolator(torque, fuel)(torque_Nm, 1))


def savings_otherwise(
    saved: float, fuel_ratio: tuple[float, float], burn_ratio: float
) -> list[float]:
    """What a saving would be with another burn.

    Parameters
    ----------
    saved : float
        Share of the standard's fuel saved, at the burn assumed [-].
    fuel_ratio : (float, float)
        Fuel burning slower over fuel at the burn assumed, of the setting and of the standard.
    burn_ratio : float
        Length of burning of the setting over the standard's.

    Returns
    -------
    list of float
        Both burning slower; both as much quicker; the difference between the two larger and
        smaller by `SHARE_OF_DIFFERENCE`. Empty if not known.

    Examples
    --------
    >>> [round(x, 4) for x in savings_otherwise(0.1, (1.01, 1.0), 1.0)]
    [0.091, 0.109, 0.1, 0.1]
    """
    own, other = fuel_ratio
    if not (math.isfinite(own) and math.isfinite(other)):
        return []
    slower = 1.0 - (1.0 - saved) * own / other
    per_length = math.log(own) / math.log(SLOWER)
    more = (1.0 - saved) * per_length * SHARE_OF_DIFFERENCE * math.log(burn_ratio)
    return [slower, 2.0 * saved - slower, saved - more, saved + more]
