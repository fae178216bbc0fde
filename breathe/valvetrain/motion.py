"""Velocity, acceleration and jerk of the valve over crank angle, from a lift curve.

All derivatives are per crank degree until ``per_cam_deg``, ``per_cam_rad`` or ``per_second`` turns
them. The sleeve moves flanks apart without changing them, so all peaks are the same at every
travel; what travel makes are the steps of acceleration where dwell meets flank.

The second derivative of a curve through *measured* readings is poor. On three known lobes, read
every 2.5 to 10 crank degrees with 0.002 to 0.01 mm scatter, the largest deceleration came out 1.0
to 2.6 times the true one (mean 1.06 to 1.43); averaged over ``MEASURED_AVERAGE_DEG`` 0.92 to 1.4
times (mean 0.96 to 1.08). Pass that as ``average_deg`` for a lobe that was measured. It also rounds
and widens sharp peaks of the opening acceleration.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import pi
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PPoly

from breathe.engine.parts import Floats, Side
from breathe.valvetrain.dwell import open_span

Values = TypeVar("Values", float, Floats)
WIDEST_DEG = 0.5
"""Pieces of the lift curve wider than this are sampled inside too, crank degrees."""
MEASURED_AVERAGE_DEG = 20.0
"""Crank degrees over which acceleration of a measured lobe is best averaged (our own trial)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Motion:
    """Lift and its derivatives from first to last lift, all (n,), at the valve unless ``at_lobe``.

    Where two pieces of the curve join, the angle stands twice: values before it and after it.
    """

    angle_deg: Floats
    """Crank degrees from firing TDC, never falling, running on beyond 720."""
    lift_m: Floats
    """At zero lash."""
    velocity_m_per_deg: Floats
    acceleration_m_per_deg2: Floats
    jerk_m_per_deg3: Floats
    """Of the curve itself, not averaged."""

    def at_lobe(self, rocker_ratio: float) -> Motion:
        """The lobe's lift and derivatives, valve lift being ``rocker_ratio`` times lobe lift."""
        return replace(
            self,
            lift_m=self.lift_m / rocker_ratio,
            velocity_m_per_deg=self.velocity_m_per_deg / rocker_ratio,
            acceleration_m_per_deg2=self.acceleration_m_per_deg2 / rocker_ratio,
            jerk_m_per_deg3=self.jerk_m_per_deg3 / rocker_ratio,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Peaks:
    """Largest values of a motion, all positive, and where."""

    opening_velocity_m_per_deg: float
    closing_velocity_m_per_deg: float
    acceleration_m_per_deg2: float
    """Away from the seat, on the flanks."""
    acceleration_at_deg: float
    deceleration_m_per_deg2: float
    """Towards the seat, near the nose: what the spring has to hold."""
    deceleration_at_deg: float
    jerk_m_per_deg3: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """A sudden change of acceleration."""

    angle_deg: float
    before_m_per_deg2: float
    after_m_per_deg2: float


def motion_of(curve: PPoly, average_deg: float = 0.0) -> Motion:
    """Lift and derivatives over a lift curve, with every join seen from both sides.

    Parameters
    ----------
    curve : PPoly
        Lift [m] over crank degrees, as ``dwell.lift_curve`` gives.
    average_deg : float
        Acceleration is averaged over this many crank degrees, within its own flank only and over
        less at a flank's ends, as velocity difference over angle; 0 takes the curve's own. See
        ``MEASURED_AVERAGE_DEG``.
    """
    width = np.diff(curve.x)
    parts = np.maximum(np.ceil(width / WIDEST_DEG), 1).astype(int)
    piece = np.repeat(np.arange(len(width)), parts)
    nth = np.arange(len(piece)) - np.repeat(np.cumsum(parts) - parts, parts)
    step = (width / parts)[piece]
    piece, into = np.repeat(piece, 2), np.column_stack([nth * step, (nth + 1) * step]).ravel()
    # Each piece's own polynomial, so that a join has the derivatives of both its sides.
    lift, velocity, acceleration, jerk = (
        np.polyval(curve.derivative(order).c[:, piece], into) for order in range(4)
    )
    if average_deg > 0:
        acceleration = _averaged(curve, curve.x[piece] + into, piece, average_deg)
    return Motion(
        angle_deg=curve.x[piece] + into,
        lift_m=lift,
        velocity_m_per_deg=velocity,
        acceleration_m_per_deg2=acceleration,
        jerk_m_per_deg3=jerk,
    )


def full_lift_span(curve: PPoly) -> tuple[float, float]:
    """Crank angles between which the lift is full; equal where there is no dwell."""
    lift = curve(curve.x)
    full = curve.x[lift >= np.nanmax(lift) * (1 - 1e-12)]
    return float(full[0]), float(full[-1])


def _averaged(
    curve: PPoly, angle: Floats, piece: NDArray[np.integer], average_deg: float
) -> Floats:
    """Acceleration averaged over a window that stays within the opening flank, dwell or closing."""
    bounds = np.array([curve.x[0], *full_lift_span(curve), curve.x[-1]])
    middle = (curve.x[piece] + curve.x[piece + 1]) / 2
    stretch = np.searchsorted(bounds[1:-1], middle)
    low = np.maximum(angle - average_deg / 2, bounds[stretch])
    high = np.minimum(angle + average_deg / 2, bounds[stretch + 1])
    velocity = curve.derivative()
    # A dwell has no velocity; the splines' own at its ends is round-off.
    change = np.where(stretch == 1, 0.0, velocity(high) - velocity(low))
    result: Floats = change / (high - low)
    return result


def per_cam_deg(derivative: Values, order: int) -> Values:
    """Derivative of an order from per crank degree to per cam degree."""
    return derivative * 2.0**order


def per_cam_rad(derivative: Values, order: int) -> Values:
    """Derivative of an order from per crank degree to per radian of the cam."""
    return derivative * (360.0 / pi) ** order


def per_second(derivative: Values, order: int, speed_rpm: float) -> Values:
    """Derivative of an order from per crank degree to per second at an engine speed."""
    return derivative * (6.0 * speed_rpm) ** order


def peaks(motion: Motion) -> Peaks:
    """Largest velocity, acceleration, deceleration and jerk, per crank degree."""
    acceleration = motion.acceleration_m_per_deg2
    most, least = int(np.argmax(acceleration)), int(np.argmin(acceleration))
    return Peaks(
        opening_velocity_m_per_deg=float(motion.velocity_m_per_deg.max()),
        closing_velocity_m_per_deg=float(-motion.velocity_m_per_deg.min()),
        acceleration_m_per_deg2=float(acceleration[most]),
        acceleration_at_deg=float(motion.angle_deg[most]),
        deceleration_m_per_deg2=float(-acceleration[least]),
        deceleration_at_deg=float(motion.angle_deg[least]),
        jerk_m_per_deg3=float(np.abs(motion.jerk_m_per_deg3).max()),
    )


def acceleration_steps(motion: Motion, least_share: float = 0.01) -> tuple[Step, ...]:
    """Where acceleration jumps: first and last lift, and where dwell meets flank.

    A step inside a flank of a lobe given by points is a steep slope between two of them, and does
    not show here.

    Parameters
    ----------
    motion : Motion
    least_share : float
        Steps below this share of the largest acceleration are left out.
    """
    acceleration = np.concatenate([[0.0], motion.acceleration_m_per_deg2, [0.0]])
    angle = np.concatenate([motion.angle_deg[:1], motion.angle_deg, motion.angle_deg[-1:]])
    jump = np.diff(acceleration)
    limit = least_share * np.abs(acceleration).max()
    at = np.flatnonzero((np.diff(angle) == 0.0) & (np.abs(jump) > limit))
    return tuple(
        Step(
            angle_deg=float(angle[i]),
            before_m_per_deg2=float(acceleration[i]),
            after_m_per_deg2=float(acceleration[i + 1]),
        )
        for i in at
    )


def seat_velocities_m_per_s(
    curve: PPoly, lash_m: float, speed_rpm: float, side: Side
) -> tuple[float, float]:
    """Velocity at which the valve leaves its seat and at which it meets it, both positive.

    The lobe's velocity where its lift equals the lash: that of the lash ramp. Up to 0.3 to 0.5 m/s
    when seating is usual (from memory). Without lash both are zero.

    Parameters
    ----------
    curve : PPoly
        Lift at zero lash [m] over crank degrees.
    lash_m : float
        At the valve: rocker ratio times the clearance at the lobe.
    speed_rpm : float
    side : 'intake' or 'exhaust'

    Raises
    ------
    ValueError
        If the lash takes up all the lift.
    """
    opens, closes = open_span(curve, lash_m, side)
    velocity = per_second(curve.derivative()(np.array([opens, closes])), 1, speed_rpm)
    return float(velocity[0]), float(-velocity[1])
