"""The sleeve's mechanism: what pushes it, whether it stays where it is, what play does."""

from __future__ import annotations

from math import pi

import numpy as np

from breathe.engine.mechanics import SleeveParts, Train
from breathe.engine.parts import Sleeve
from breathe.study.checks.line import Line, guide_verdict
from breathe.study.checks.stand import Speeds, Stand
from breathe.valvetrain.loads import contact_force_N
from breathe.valvetrain.sleeve import (
    FLANK_PRESSURE_GUIDE_PA,
    axial_force_N,
    axial_force_pushing_N,
    cam_torque_Nm,
    duration_play_deg,
    flank_pressure_Pa,
    helix_angle_deg,
    is_self_holding,
    lead_m,
    torque_range_Nm,
    wind_up_crank_deg,
)

HOLDING_SOURCE = (
    "a sleeve holds itself when friction is at least the tangent of the helix angle; near that, "
    "shaking undoes it (common practice, no source)"
)
FLANK_SOURCE = "7 to 14 MPa at most is usual for splines that slide (from memory)"


def sleeve_lines(own: Stand, speeds: Speeds) -> list[Line]:
    """Torque of one valve on the lobe, the push it makes, holding, wind-up and play.

    Parameters
    ----------
    own : Stand
        The sleeve's own lobe at any travel: dwell makes no torque.
    speeds : Speeds
    """
    sleeve = own.cam.sleeve
    if sleeve is None or not sleeve.law_known:
        return []
    parts = own.parts.sleeve or SleeveParts()
    lines = [*_play(own, parts, sleeve), *_helix(own, parts, sleeve)]
    worst = worst_torque_Nm(own, speeds)
    if worst is None:
        return lines
    lines += _torque(own, worst)
    most = max(abs(torque) for torque, _ in worst)
    return [*lines, *_push(own, most, parts, sleeve), *_shaft(own, most, parts)]


def worst_torque_Nm(
    own: Stand, speeds: Speeds
) -> tuple[tuple[float, float], tuple[float, float]] | None:
    """Most negative and most positive torque with the speed of each; None without a spring."""
    spring, train = own.parts.spring, own.parts.train
    if spring is None:
        return None
    at = [0.0, *([speed for _, speed in speeds.cases] if train is not None else [])]
    found = []
    for speed in at:
        force = contact_force_N(
            own.motion, spring, train or Train(moving_mass_kg=0.0), speed, own.cam.lash_m
        )
        # A follower off its lobe pushes nothing.
        low, high = torque_range_Nm(cam_torque_Nm(own.motion, np.maximum(force, 0.0)))
        found += [(low, speed), (high, speed)]
    return min(found), max(found)


def _torque(own: Stand, worst: tuple[tuple[float, float], tuple[float, float]]) -> list[Line]:
    items = ("torque driving the cam", "torque holding it back")
    return [
        Line(
            topic="sleeve",
            item=item,
            side=own.side,
            speed_rpm=speed,
            value=abs(torque),
            unit="Nm",
            where=f"at {speed:.0f} rpm" if speed else "turned slowly",
        )
        for item, (torque, speed) in zip(items, worst, strict=True)
    ]


def _push(own: Stand, torque_Nm: float, parts: SleeveParts, sleeve: Sleeve) -> list[Line]:
    """Along the shaft: what the torque pushes with, and what it takes to move against it."""
    lead = lead_m(sleeve)
    lines = [
        Line(
            topic="sleeve",
            item="push, no friction",
            side=own.side,
            value=axial_force_N(torque_Nm, lead),
            unit="N",
            where="both ways",
        )
    ]
    if parts.helix_radius_m is None or parts.friction is None:
        return lines
    item = "force to move it"
    try:
        force = axial_force_pushing_N(torque_Nm, lead, parts.helix_radius_m, parts.friction)
    except ValueError as error:
        return [
            *lines,
            Line(topic="sleeve", item=item, side=own.side, verdict="jams", note=str(error)),
        ]
    return [
        *lines,
        Line(
            topic="sleeve",
            item=item,
            side=own.side,
            value=force,
            unit="N",
            where="against the torque",
        ),
    ]


def _helix(own: Stand, parts: SleeveParts, sleeve: Sleeve) -> list[Line]:
    """Helix angle, and whether friction alone holds the sleeve."""
    if parts.helix_radius_m is None:
        return []
    lead = lead_m(sleeve)
    lines = [
        Line(
            topic="sleeve",
            item="helix from the shaft",
            side=own.side,
            value=helix_angle_deg(lead, parts.helix_radius_m),
            unit="deg",
        )
    ]
    if parts.friction is None:
        return lines
    holds = is_self_holding(lead, parts.helix_radius_m, parts.friction)
    return [
        *lines,
        Line(
            topic="sleeve",
            item="friction, to hold still",
            side=own.side,
            value=parts.friction,
            limit=2 * pi * parts.helix_radius_m / lead,
            rule=HOLDING_SOURCE,
            # Not a fault: actuator must hold.
            verdict="holds" if holds else "told",
            note="" if holds else "actuator must hold",
        ),
    ]


def _play(own: Stand, parts: SleeveParts, sleeve: Sleeve) -> list[Line]:
    play = duration_play_deg(parts, sleeve.crank_deg_per_m)
    if play is None:
        return []
    return [
        Line(
            topic="sleeve",
            item="play, of the duration",
            side=own.side,
            value=play,
            unit="deg crank",
        )
    ]


def _shaft(own: Stand, torque_Nm: float, parts: SleeveParts) -> list[Line]:
    """Wind-up of the shaft and pressure on the splines under the largest torque."""
    lines = []
    if parts.shaft_diameter_m is not None and parts.twisted_length_m is not None:
        twist = wind_up_crank_deg(
            torque_Nm, parts.twisted_length_m, parts.shaft_diameter_m, parts.shaft_bore_m
        )
        lines.append(
            Line(
                topic="sleeve",
                item="shaft winds up",
                side=own.side,
                value=twist,
                unit="deg crank",
                where="largest torque",
            )
        )
    sizes = (parts.helix_radius_m, parts.spline_count, parts.spline_height_m, parts.spline_length_m)
    radius, count, height, length = sizes
    if radius is None or count is None or height is None or length is None:
        return lines
    pressure = flank_pressure_Pa(torque_Nm, radius, count, height, length)
    lines.append(
        Line(
            topic="sleeve",
            item="spline pressure",
            side=own.side,
            value=pressure,
            unit="Pa",
            where="largest torque",
            limit=FLANK_PRESSURE_GUIDE_PA[1],
            limit_is="most",
            rule=FLANK_SOURCE,
            verdict=guide_verdict(pressure, FLANK_PRESSURE_GUIDE_PA),
        )
    )
    return lines
