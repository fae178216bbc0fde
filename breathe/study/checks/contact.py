"""Lobe and follower: how hard they press, where they touch, how sharp the lobe is, how it seats."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from math import isfinite

import numpy as np

from breathe.engine.mechanics import Follower, Spring, Train
from breathe.engine.parts import Floats
from breathe.study.checks.line import Line, Verdict, guide_verdict
from breathe.study.checks.stand import Speeds, Stand, on_lobe
from breathe.valvetrain.contact import (
    HERTZ_GUIDE_PA,
    PRESSURE_ANGLE_GUIDE_DEG,
    Contact,
    base_circle_needed_m,
    contact_geometry,
    contact_modulus_Pa,
    contact_pressure_Pa,
    face_radius_m,
    face_radius_needed_m,
    hertz_half_width_m,
    touching_length_m,
)
from breathe.valvetrain.loads import contact_force_N
from breathe.valvetrain.motion import seat_velocities_m_per_s

EDGE_M = 0.5e-3
"""Least face to be left beyond the touching line (from memory: 0.5 to 1 mm)."""
SEATING_GUIDE_M_PER_S = (0.3, 0.5)
SEATING_SOURCE = "a valve seats with 0.3 to 0.5 m/s at most, usually (from memory)"


def contact_lines(stood: Stand, speeds: Speeds) -> list[Line]:
    """Contact stress and width, sweep over the face or pressure angle, curvature."""
    follower, spring, train = stood.parts.follower, stood.parts.spring, stood.parts.train
    if follower is None:
        return []
    found = contact_geometry(stood.motion, follower)
    lines = []
    if spring is not None:
        lines += list(_pressures(stood, found, follower, spring, train, speeds))
    lines += _face(stood, found, follower)
    return [*lines, _curvature(stood, found, follower)]


def hertz_guide(follower: Follower) -> tuple[str, tuple[float, float]]:
    """The usual limit of contact pressure for a pairing, by name."""
    if follower.roller_radius_m is not None:
        name = "steel roller"
    else:
        name = "chilled iron, flat" if "iron" in follower.materials else "hardened steel, flat"
    return name, HERTZ_GUIDE_PA[name]


def _pressures(
    stood: Stand,
    found: Contact,
    follower: Follower,
    spring: Spring,
    train: Train | None,
    speeds: Speeds,
) -> Iterator[Line]:
    """Highest Hertz pressure turned slowly, at the limit and at over-speed."""
    name, guide = hertz_guide(follower)
    cases = [("turned slowly", 0.0), *(speeds.cases if train is not None else ())]
    still = Train(moving_mass_kg=0.0)
    for case, speed in cases:
        force = contact_force_N(stood.motion, spring, train or still, speed, stood.cam.lash_m)
        pressure = contact_pressure_Pa(found, follower, force)
        at = int(np.argmax(pressure))
        worst = float(pressure[at])
        line = Line(
            topic="contact",
            item=f"pressure {case if speed == 0.0 else f'at {speed:.0f} rpm'}",
            side=stood.side,
            setting=stood.setting,
            case=case,
            speed_rpm=speed,
            value=worst,
            unit="Pa",
            where=on_lobe(stood, float(found.angle_deg[at])),
            limit=guide[1],
            limit_is="most",
            rule=f"{name}: {guide[0] / 1e6:.0f} to {guide[1] / 1e6:.0f} MPa at most is usual (from "
            "memory, 15 % either way)",
            verdict=guide_verdict(worst, guide),
        )
        if not isfinite(worst):
            yield _no_contact(line, stood, follower, undercut=bool(found.undercut[at]))
            continue
        yield line
        if speed == 0.0:
            yield _band(stood, found, follower, force, at)


def _no_contact(line: Line, stood: Stand, follower: Follower, *, undercut: bool) -> Line:
    """No line of contact to press on: the lobe is undercut there, or the line is off the face."""
    if not undercut:
        note = "the touching line runs off the face"
        return replace(line, value=None, verdict="does not fit", note=note)
    note = _undercut_words(stood, follower)
    return replace(line, value=None, verdict=_undercut_verdict(stood), note=note)


def _band(stood: Stand, found: Contact, follower: Follower, force: Floats, at: int) -> Line:
    """Width of the band that touches where the pressure is highest."""
    modulus = contact_modulus_Pa(
        follower.lobe_modulus_Pa,
        follower.lobe_poisson,
        follower.follower_modulus_Pa,
        follower.follower_poisson,
    )
    normal = float(force[at]) * follower.rocker_ratio
    normal /= float(np.cos(np.radians(found.pressure_angle_deg[at])))
    length = float(touching_length_m(found, follower)[at])
    radius = float(found.reduced_radius_m[at])
    return Line(
        topic="contact",
        item="band that touches there",
        side=stood.side,
        setting=stood.setting,
        case="turned slowly",
        speed_rpm=0.0,
        value=2 * hertz_half_width_m(normal, length, radius, modulus),
        unit="m",
        where=f"{on_lobe(stood, float(found.angle_deg[at]))}, {length * 1e3:.1f} mm long",
    )


def _face(stood: Stand, found: Contact, follower: Follower) -> list[Line]:
    """How far the touching line runs from the middle of the face, or how a round face leans."""
    swept = face_radius_needed_m(found)
    at = on_lobe(stood, float(found.angle_deg[np.argmax(np.abs(found.offset_m))]))
    sweep = Line(
        topic="contact",
        item="line runs off middle by",
        side=stood.side,
        setting=stood.setting,
        value=swept,
        unit="m",
        where=at,
    )
    if face_radius_m(follower) is None:
        return [_on_face(sweep, swept, follower)]
    angle = float(np.abs(found.pressure_angle_deg).max())
    rolls = follower.roller_radius_m is not None
    lean = Line(
        topic="contact",
        item="pressure angle",
        side=stood.side,
        setting=stood.setting,
        value=angle,
        unit="deg",
        where=on_lobe(stood, float(found.angle_deg[np.argmax(np.abs(found.pressure_angle_deg))])),
        limit=PRESSURE_ANGLE_GUIDE_DEG,
        limit_is="most",
        rule="30 deg at most is usual for a roller in a straight guide (from memory)",
        verdict="usual" if angle <= PRESSURE_ANGLE_GUIDE_DEG else "above usual",
    )
    # Where a roller touches, it rolls: only a pad is swept.
    return [lean] if rolls else [sweep, lean]


def _on_face(sweep: Line, swept: float, follower: Follower) -> Line:
    if follower.face_diameter_m is None:
        return sweep
    face = follower.face_diameter_m / 2
    return replace(
        sweep,
        limit=face - EDGE_M,
        limit_is="most",
        rule=f"half the face ({face * 1e3:.1f} mm) less 0.5 mm of edge (from memory: 0.5 to 1 mm)",
        verdict="fits" if swept <= face - EDGE_M else "does not fit",
    )


def _curvature(stood: Stand, found: Contact, follower: Follower) -> Line:
    """The sharpest place of the lobe; undercut is a question where the lobe is made up."""
    undercut = bool(found.undercut.any())
    radius = np.where(found.undercut | (found.lobe_radius_m > 0.0), found.lobe_radius_m, np.inf)
    at = int(np.argmin(radius))
    verdict: Verdict = "told"
    note = ""
    if undercut:
        verdict = _undercut_verdict(stood)
        note = _undercut_words(stood, follower)
    return Line(
        topic="contact",
        item="sharpest lobe radius",
        side=stood.side,
        setting=stood.setting,
        value=float(radius[at]),
        unit="m",
        where=on_lobe(stood, float(found.angle_deg[at])),
        limit=0.0 if undercut else None,
        rule="a lobe of no radius cannot be ground" if undercut else "",
        verdict=verdict,
        note=note,
    )


def _undercut_verdict(stood: Stand) -> Verdict:
    """A nose that is made up is asked about, a known one judged."""
    return "question" if stood.from_card else "undercut"


def _undercut_words(stood: Stand, follower: Follower) -> str:
    told = f"the {stood.side} lobe would have to be undercut"
    if face_radius_m(follower) is None:
        needed = base_circle_needed_m(stood.motion, 1e-3, follower.rocker_ratio)
        told += f"; a base circle radius of {needed * 1e3:.1f} mm would leave it 1 mm"
    if stood.from_card:
        told += (
            f". Its nose is made up from the card: is [{stood.side}.follower] base_circle_radius "
            "right, and is there a measured lift sheet?"
        )
    return told


def seating_lines(stood: Stand, speeds: Speeds) -> list[Line]:
    """Velocity at which the valve meets its seat; nothing where there is no lash."""
    if stood.cam.lash_m <= 0.0:
        return []
    velocity = seat_velocities_m_per_s(stood.curve, stood.cam.lash_m, speeds.limit_rpm, stood.side)[
        1
    ]
    verdict = guide_verdict(velocity, SEATING_GUIDE_M_PER_S)
    asked = stood.from_card and verdict != "usual"
    question = (
        f"the {stood.side} cam card does not tell the lash ramp, on which seating hangs: is there "
        "a measured lift sheet?"
    )
    return [
        Line(
            topic="seating",
            item=f"seats at {speeds.limit_rpm:.0f} rpm with",
            side=stood.side,
            setting=stood.setting,
            case="limit",
            speed_rpm=speeds.limit_rpm,
            value=velocity,
            unit="m/s",
            where="closing ramp",
            limit=SEATING_GUIDE_M_PER_S[1],
            limit_is="most",
            rule=SEATING_SOURCE,
            verdict="question" if asked else verdict,
            note=question if asked else "",
        )
    ]
