"""Lobes from a motion law or from a cam card.

A lobe is two flanks back to back. Each flank rises from the base circle to the nose and is built
here as nodes of (crank degrees from first lift, lift at the valve); both end with zero velocity.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

from breathe.engine.parts import Floats, Lobe
from breathe.valvetrain.laws import Law, power_cosine

NODE_DEG = 0.25
"""Widest spacing of flank nodes, crank degrees."""
RAMP_LENGTH = 2.5
"""Length of an added ramp over (its height / velocity at its top): 2 would be constant
acceleration, the least possible; 2.5 has no step of acceleration and peaks 1.16 times higher."""
RAMP_TOP_M = 0.3e-3
"""An added ramp starts no higher than this: lash ramps are 0.15 to 0.40 mm high (from memory)."""
TYPICAL_EXPONENT = 1.6
"""Of the power-cosine flank where a card gives one duration: 264 deg at 0.10 mm then has about 231
at 1.0 mm. Published pairs lose 25 to 37 deg from 0.1 to 1 mm."""
TYPICAL_SOURCE = (
    "article 'Durations explained': 0.1 mm 300/299 against 1 mm 263/274 deg; fit our own"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ramp:
    """Lash ramp of constant velocity, entered by a blend of constant acceleration."""

    height_m: float
    """Lift at the valve where the ramp ends."""
    velocity_m_per_deg: float
    """Lift per crank degree. A card's figure per cam degree is twice this."""
    blend_deg: float
    """Crank degrees in which the velocity grows from zero."""

    @property
    def length_deg(self) -> float:
        """Crank degrees from first lift to the top of the ramp."""
        return self.height_m / self.velocity_m_per_deg + self.blend_deg / 2

    def lift_m(self, angle_deg: Floats) -> Floats:
        """Lift at ``angle_deg`` from first lift, within the ramp, same shape."""
        blended = np.minimum(angle_deg, self.blend_deg)
        grown = self.velocity_m_per_deg * blended**2 / (2 * self.blend_deg or 1.0)
        steady: Floats = self.velocity_m_per_deg * (angle_deg - blended)
        return grown + steady


@dataclass(frozen=True, slots=True)
class Flank:
    """Nodes of one flank, rising."""

    angle_deg: Floats
    """(n,) rising from 0, crank degrees from first lift."""
    lift_m: Floats
    """(n,) from 0 to full lift."""


def lobe_from_law(
    lift_m: float,
    flank_deg: float,
    law: Law,
    *,
    flank_closing_deg: float | None = None,
    ramp: Ramp | None = None,
    base_dwell_deg: float = 0.0,
) -> Lobe:
    """Lobe whose flanks follow a dwell-rise-dwell law, with or without a lash ramp.

    Parameters
    ----------
    lift_m : float
        Full lift at the valve, ramp included.
    flank_deg, flank_closing_deg : float
        Crank degrees from first lift to the nose, ramp included, of the opening and the closing
        flank; the closing flank is like the opening one unless given.
    law : Law
    ramp : Ramp, optional
        On both flanks.
    base_dwell_deg : float
        Crank degrees of full lift between the flanks at zero travel, half to each side.

    Raises
    ------
    ValueError
        If a length is not positive, or the ramp does not fit into the flank.
    """
    opening = flank_from_law(lift_m, flank_deg, law, ramp)
    closing_deg = flank_deg if flank_closing_deg is None else flank_closing_deg
    closing = flank_from_law(lift_m, closing_deg, law, ramp)
    if base_dwell_deg < 0:
        raise ValueError(f"dwell at zero travel: found {base_dwell_deg:g} deg; expected 0 or more")
    made_from = f"motion law: {law.name}, {lift_m * 1e3:.2f} mm"
    return join_flanks(opening, closing, base_dwell_deg=base_dwell_deg, made_from=made_from)


def flank_from_law(lift_m: float, flank_deg: float, law: Law, ramp: Ramp | None = None) -> Flank:
    """One flank of ``lobe_from_law``.

    Above the ramp, lift = ramp height + rise * s(x) + v * b * f(x), where v is the ramp's velocity,
    b the angle left, and f = x (1-x)^n (1+n x) takes that velocity down to zero without lift or
    acceleration at the nose. With the 3-4-5 law (n = 3) this is the quintic through both ends; n
    follows the law's own contact with the dwell, else a smoother law would overshoot the nose.
    """
    if lift_m <= 0 or flank_deg <= 0:
        raise ValueError(
            f"flank: found {lift_m * 1e3:g} mm in {flank_deg:g} deg crank; expected both above 0"
        )
    if ramp is None:
        angle = _nodes(0.0, flank_deg)
        return Flank(angle, lift_m * law.displacement(angle / flank_deg))
    left_deg = flank_deg - ramp.length_deg
    rise_m = lift_m - ramp.height_m
    v_b = ramp.velocity_m_per_deg * left_deg
    if left_deg <= 0 or v_b >= rise_m:
        raise ValueError(
            f"ramp: {ramp.height_m * 1e3:g} mm high and {ramp.length_deg:.1f} deg crank long does "
            f"not fit a flank of {lift_m * 1e3:g} mm in {flank_deg:g} deg crank"
        )
    # A node where the blend ends keeps the spline's own curvature out of the ramp.
    blend, steady = _nodes(0.0, ramp.blend_deg), _nodes(ramp.blend_deg, ramp.length_deg)
    below = np.concatenate([blend, steady[1:]]) if ramp.blend_deg > 0 else steady
    above = _nodes(ramp.length_deg, flank_deg)[1:]
    x = (above - ramp.length_deg) / left_deg
    n = max(law.contact, 3)
    carried = v_b * x * (1 - x) ** n * (1 + n * x)
    lift = ramp.height_m + rise_m * law.displacement(x) + carried
    return Flank(np.concatenate([below, above]), np.concatenate([ramp.lift_m(below), lift]))


def lobe_from_card(
    duration_deg: float,
    checking_lift_m: float,
    lift_m: float,
    *,
    second: tuple[float, float] | None = None,
    lash_m: float = 0.0,
    opening_share: float = 0.5,
) -> tuple[Lobe, str | None]:
    """Lobe that has a cam card's durations at their checking lifts.

    The flank is lift * cos(90 deg * c/c0)^p, c from the nose, with c0 and p from the two durations,
    and below both of them a ramp to the base circle without a step of velocity or acceleration.

    Parameters
    ----------
    duration_deg, checking_lift_m : float
        Crank degrees, and the valve lift they are counted at.
    lift_m : float
        Full lift at the valve, at zero lash.
    second : (duration_deg, checking_lift_m), optional
        A further pair, such as the duration at 1 mm. Without it p = ``TYPICAL_EXPONENT``.
    lash_m : float
        Clearance set when the durations were counted; 0 if at zero lash.
    opening_share : float
        Share of every duration before the nose; 0.5 is a symmetrical lobe.

    Returns
    -------
    Lobe, str or None
        And what was assumed, in words, where only one duration is given.

    Raises
    ------
    ValueError
        If the numbers contradict each other.
    """
    points = [(duration_deg, checking_lift_m)] + ([second] if second else [])
    _check_card(points, lift_m, lash_m, opening_share)
    zero_lash = [(duration, checking + lash_m) for duration, checking in points]
    exponent = _card_exponent(zero_lash, lift_m) if second else TYPICAL_EXPONENT
    duration, at = zero_lash[0]
    whole_deg = duration / _fraction(at / lift_m, exponent)
    top_m = min([RAMP_TOP_M + lash_m, *(checking for _, checking in zero_lash)])
    opening, closing = (
        _card_flank(lift_m, share * whole_deg, exponent, top_m)
        for share in (opening_share, 1.0 - opening_share)
    )
    made_from = f"cam card: {lift_m * 1e3:.2f} mm, " + ", ".join(
        f"{found:g} deg at {checking * 1e3:.3g} mm" for found, checking in points
    )
    lobe = join_flanks(opening, closing, made_from=made_from)
    if second:
        return lobe, None
    at_1mm = whole_deg * _fraction((1e-3 + lash_m) / lift_m, exponent)
    return lobe, _typical_note(points[0], at_1mm)


def _typical_note(known: tuple[float, float], at_1mm_deg: float) -> str:
    """What is assumed of a card with one duration."""
    change = at_1mm_deg - known[0]
    return (
        f"only the duration at {known[1] * 1e3:.3g} mm is known: a typical flank is taken, with "
        f"{at_1mm_deg:.0f} deg at 1.0 mm, {abs(change):.0f} {'more' if change > 0 else 'less'}"
    )


def ramp_below(height_m: float, velocity: float, acceleration: float) -> Flank:
    """Ramp from the base circle up to a flank that has this lift and these derivatives there.

    The quintic through (0, 0, 0) and (lift, velocity, acceleration), ``RAMP_LENGTH`` long.

    Parameters
    ----------
    height_m, velocity, acceleration : float
        Of the flank where the ramp meets it [m, m/deg, m/deg^2].
    """
    length_deg = RAMP_LENGTH * height_m / velocity
    angle = _nodes(0.0, length_deg)
    x = angle / length_deg
    v, a = velocity * length_deg, acceleration * length_deg**2
    # Beyond these an end acceleration would make the quintic fall on its way up.
    a = float(np.clip(a, 0.0, 4.0 * height_m))
    cubic = 10 * height_m - 4 * v + a / 2
    quartic = -15 * height_m + 7 * v - a
    quintic = 6 * height_m - 3 * v + a / 2
    return Flank(angle, x**3 * (cubic + x * (quartic + x * quintic)))


def join_flanks(
    opening: Flank, closing: Flank, *, base_dwell_deg: float = 0.0, made_from: str
) -> Lobe:
    """Lobe of two flanks of equal lift, the nose (or the middle of its dwell) at angle 0."""
    half = base_dwell_deg / 2
    before = opening.angle_deg - opening.angle_deg[-1] - half
    after = (closing.angle_deg[-1] - closing.angle_deg)[::-1] + half
    # Without dwell both flanks end in the same node.
    skip = 0 if base_dwell_deg > 0 else 1
    return Lobe(
        angle_deg=np.concatenate([before, after[skip:]]),
        lift_m=np.concatenate([opening.lift_m, closing.lift_m[::-1][skip:]]),
        made_from=made_from,
    )


def _nodes(start: float, end: float) -> Floats:
    count = int(np.ceil((end - start) / NODE_DEG)) + 1
    return np.linspace(start, end, max(count, 9))


def _fraction(lift_share: float, exponent: float) -> float:
    """Where on a power-cosine flank (0 nose, 1 base) the lift is ``lift_share`` of full lift."""
    return float(np.arccos(lift_share ** (1.0 / exponent)) * 2 / np.pi)


def _card_exponent(points: list[tuple[float, float]], lift_m: float) -> float:
    """Exponent of the power-cosine flank through two (duration, lift) points."""
    (low_deg, low), (high_deg, high) = sorted(points, key=lambda point: point[1])

    def excess(exponent: float) -> float:
        shape = _fraction(low / lift_m, exponent) / _fraction(high / lift_m, exponent)
        return shape - low_deg / high_deg

    least, most = 1.05, 6.0
    if excess(least) * excess(most) > 0:
        slack = "far apart" if excess(most) < 0 else "close together"
        raise ValueError(
            f"cam card: {low_deg:g} deg at {low * 1e3:.3g} mm and {high_deg:g} deg at "
            f"{high * 1e3:.3g} mm are too {slack} for one flank of {lift_m * 1e3:.3g} mm lift; "
            "check that both are crank degrees and lifts at the valve"
        )
    return float(brentq(excess, least, most, xtol=1e-12))


def _card_flank(lift_m: float, base_deg: float, exponent: float, top_m: float) -> Flank:
    """Power-cosine flank, ``base_deg`` from nose to base, replaced by a ramp below ``top_m``."""
    from_nose = base_deg * _fraction(top_m / lift_m, exponent)
    turn = np.pi / 2 / base_deg
    cos, sin = np.cos(turn * from_nose), np.sin(turn * from_nose)
    velocity = lift_m * exponent * turn * cos ** (exponent - 1) * sin
    acceleration = (
        lift_m * exponent * turn**2 * cos ** (exponent - 2) * ((exponent - 1) * sin**2 - cos**2)
    )
    ramp = ramp_below(top_m, velocity, acceleration)
    fall = _nodes(0.0, from_nose)
    rise = lift_m * power_cosine(fall[::-1] / base_deg, exponent)
    return Flank(
        np.concatenate([ramp.angle_deg, ramp.angle_deg[-1] + fall[1:]]),
        np.concatenate([ramp.lift_m, rise[1:]]),
    )


def _check_card(
    points: list[tuple[float, float]], lift_m: float, lash_m: float, opening_share: float
) -> None:
    for duration, checking in points:
        if not 0 < checking + lash_m < lift_m or checking < 0:
            raise ValueError(
                f"cam card: found a checking lift of {checking * 1e3:.3g} mm with lash "
                f"{lash_m * 1e3:.3g} mm; expected between 0 and the full lift of "
                f"{lift_m * 1e3:.3g} mm"
            )
        if not 0 < duration < 720:
            raise ValueError(f"cam card: found a duration of {duration:g} deg; expected 0 to 720")
    if len(points) == 2:
        (low_deg, low), (high_deg, high) = sorted(points, key=lambda point: point[1])
        if low == high or low_deg <= high_deg:
            raise ValueError(
                f"cam card: found {low_deg:g} deg at {low * 1e3:.3g} mm and {high_deg:g} deg at "
                f"{high * 1e3:.3g} mm; expected the longer duration at the smaller lift"
            )
    if not 0.2 <= opening_share <= 0.8:
        raise ValueError(
            f"cam card: found {opening_share:g} of the duration before the nose; "
            "expected 0.2 to 0.8"
        )
