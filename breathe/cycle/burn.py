"""How the charge burns: shape, length, phasing.

The shape is Wiebe's, scaled to reach exactly 1 at the end of its duration. Length follows speed and
laminar flame speed; with the flame speed go residual, mixture, pressure and temperature. Crank
angles here may be counted from anywhere, as long as all of one call are counted alike.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from breathe.kernel import kernel

REFERENCE_SPEED_RPM = 2000.0
"""Speed at which `breathe.engine.parts.Burn.duration_10_90_deg` is given."""
REFERENCE_RESIDUAL = 0.05
"""Residual mole fraction of the reference charge [-]: full load, small overlap."""
REFERENCE_LAMBDA = 0.88
"""Air ratio of the reference charge [-]: full-load gasoline (common practice, no source)."""
REFERENCE_SHUT_PA, REFERENCE_SHUT_K = 1.0e5, 360.0
"""Reference charge at intake closing: full load, warm engine (common practice, no source)."""
REFERENCE_VOLUME_RATIO = 6.0
"""Volume at intake closing over volume at `FLAME_POINT_DEG` of the reference charge [-]:
compression ratio 11, rod 1.8 strokes, closing 50 degrees after bottom. Fixed, so that an engine
with more compression burns faster than one with less, all else equal."""

FLAME_POINT_DEG = -25.0
"""Crank degrees from firing top dead centre at which the flame speed is taken."""
COMPRESSION_EXPONENT = 1.32
"""Polytropic exponent of compression [-]. J. B. Heywood, Internal Combustion Engine Fundamentals,
1988, ch. 9 (1.3 +/- 0.05; from memory)."""

FLAME_EXPONENT = -2.0 / 3.0
"""Exponent of the flame speed in `burn_duration` [-]."""
LONGEST_10_90_DEG = 80.0
"""Longest 10-90 % duration a cycle is computed with [deg]; beyond it the real engine misfires."""

SLOW_RESIDUAL, MISFIRE_RESIDUAL = 0.25, 0.31
"""Residual mole fractions [-] above which idle is rough, and misfire is likely (common practice, no
source; the duration is 2 and 3 times that at 5 %)."""


@kernel
def wiebe(y: float, a: float, m: float) -> float:
    """Burned share [-] at a share ``y`` of the duration, 0 before and 1 after it.

    References
    ----------
    I. Wiebe, 1962, as in J. B. Heywood, Internal Combustion Engine Fundamentals, 1988, ch. 9 (from
    memory): ``1 - exp(-a y^(m+1))``, here divided by its value at y = 1.
    """
    if y <= 0.0:
        return 0.0
    if y >= 1.0:
        return 1.0
    return (1.0 - math.exp(-a * y ** (m + 1))) / (1.0 - math.exp(-a))


@kernel
def wiebe_slope(y: float, a: float, m: float) -> float:
    """Derivative of `wiebe` with respect to ``y`` [-]."""
    if y <= 0.0 or y >= 1.0:
        return 0.0
    power = y**m
    return a * (m + 1) * power * math.exp(-a * y * power) / (1.0 - math.exp(-a))


@kernel
def wiebe_point(share: float, a: float, m: float) -> float:
    """Share of the duration [-] at which ``share`` has burned; inverse of `wiebe`."""
    return (-math.log(1.0 - share * (1.0 - math.exp(-a))) / a) ** (1.0 / (m + 1))


@kernel
def full_duration(duration_10_90_deg: float, a: float, m: float) -> float:
    """Whole duration [deg] of a burn whose 10-90 % takes the given angle."""
    return duration_10_90_deg / (wiebe_point(0.9, a, m) - wiebe_point(0.1, a, m))


@kernel
def start_of_burn(ca50_deg: float, duration_deg: float, a: float, m: float) -> float:
    """Angle [deg] at which a burn of the given whole duration starts to be half done at CA50."""
    return ca50_deg - duration_deg * wiebe_point(0.5, a, m)


@kernel
def unburned_share_left(
    from_deg: float,
    to_deg: float,
    start_deg: float,
    duration_deg: float,
    a: float,
    m: float,
    completeness: float = 1.0,
) -> float:
    """Factor [-] by which the fresh charge in the cylinder shrinks from one angle to another.

    It needs no memory of the charge trapped: multiply what is there. After the end nothing burns.
    ``completeness`` is the share of the charge that burns at all.
    """
    before = wiebe((from_deg - start_deg) / duration_deg, a, m)
    if before >= 1.0:
        return 1.0
    after = wiebe((to_deg - start_deg) / duration_deg, a, m)
    return (1.0 - completeness * after) / (1.0 - completeness * before)


class FlamePoint(NamedTuple):
    """Unburned gas where the flame speed is taken."""

    pressure_Pa: float
    temperature_K: float


@kernel
def flame_point(shut_Pa: float, shut_K: float, volume_ratio: float) -> FlamePoint:
    """Unburned gas at `FLAME_POINT_DEG`, by polytropic compression from intake closing.

    ``volume_ratio`` is the volume at intake closing over the volume at that angle [-].
    """
    return FlamePoint(
        shut_Pa * volume_ratio**COMPRESSION_EXPONENT,
        shut_K * volume_ratio ** (COMPRESSION_EXPONENT - 1.0),
    )


REFERENCE_POINT = FlamePoint(
    REFERENCE_SHUT_PA * REFERENCE_VOLUME_RATIO**COMPRESSION_EXPONENT,
    REFERENCE_SHUT_K * REFERENCE_VOLUME_RATIO ** (COMPRESSION_EXPONENT - 1.0),
)
"""Unburned gas of the reference charge; its flame speed, at `REFERENCE_LAMBDA` and
`REFERENCE_RESIDUAL`, is the reference flame speed of `burn_duration`."""


class Duration(NamedTuple):
    """Length of a burn."""

    duration_10_90_deg: float
    capped: bool
    """The relation asked for more than `LONGEST_10_90_DEG`, or the charge does not burn at all."""


@kernel
def burn_duration(
    reference_10_90_deg: float,
    speed_rpm: float,
    speed_exponent: float,
    flame_speed: float,
    reference_flame_speed: float,
) -> Duration:
    """10-90 % duration [deg] from the one at the reference point.

    ``D = Dref (N / Nref)^e (S / Sref)^(-2/3)``. The flame speed [m/s] falls to zero near a residual
    mole fraction of 0.39: the duration then stays at `LONGEST_10_90_DEG` and is marked.

    References
    ----------
    S. D. Hires, R. J. Tabaczynski and J. M. Novak, SAE 780232, 1978, as in J. B. Heywood, Internal
    Combustion Engine Fundamentals, 1988, ch. 9 (from memory). The speed exponent 1/3 is the least
    certain number: 0.15 to 0.33.
    """
    speed_factor = (speed_rpm / REFERENCE_SPEED_RPM) ** speed_exponent
    at_speed = reference_10_90_deg * speed_factor
    ratio = flame_speed / reference_flame_speed
    slowest = (LONGEST_10_90_DEG / at_speed) ** (1.0 / FLAME_EXPONENT)
    if not ratio > slowest:  # also true for a NaN
        return Duration(LONGEST_10_90_DEG, True)
    return Duration(at_speed * ratio**FLAME_EXPONENT, False)
