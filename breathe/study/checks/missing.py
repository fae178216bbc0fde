"""What the check cannot look at, and the keys of the engine file that would let it."""

from __future__ import annotations

from breathe.engine.mechanics import SideMechanics, SleeveParts
from breathe.engine.parts import Cam, Engine, Side
from breathe.study.checks.line import Line, Topic
from breathe.study.checks.stand import SIDES, mechanics_of
from breathe.valvetrain.clearance import RADIAL_RULE_M


def missing(engine: Engine) -> list[Line]:
    """A line NOT CHECKED for everything the engine file tells too little of."""
    mechanics = mechanics_of(engine)
    lines = []
    for side in SIDES:
        parts = mechanics.of(side)
        cam = engine.intake_cam if side == "intake" else engine.exhaust_cam
        lines += _clearance(parts, side) + _springs(parts, side)
        lines += _contact(parts, cam, side) + _sleeve(parts, cam, side)
    if mechanics.valve_pair is None:
        keys = "seat_centre_distance, intake_angle, exhaust_angle, edge_thickness"
        lines.append(_not("valve to valve", "valve to valve", None, "valve_pair", keys))
    wall = Line(
        topic="valve to piston",
        item="head to wall of the pocket, sideways",
        limit=RADIAL_RULE_M,
        verdict="NOT CHECKED",
        note=f"no key: measure it with clay, at least {RADIAL_RULE_M * 1e3:.2f} mm",
    )
    return [*lines, wall]


def _not(topic: Topic, item: str, side: Side | None, table: str, keys: str) -> Line:
    place = f"{side}.{table}" if side else table
    return Line(
        topic=topic, item=item, side=side, verdict="NOT CHECKED", note=f"needs [{place}] {keys}"
    )


def _clearance(parts: SideMechanics, side: Side) -> list[Line]:
    if parts.piston_gap is not None:
        return []
    keys = "at_tdc (or angle and gap), measured, valve_angle"
    return [_not("valve to piston", "valve to piston", side, "clearance", keys)]


def _springs(parts: SideMechanics, side: Side) -> list[Line]:
    lines = []
    spring = parts.spring
    if spring is None:
        keys = "seat_load, seat_height, rate, coil_bind"
        lines.append(_not("spring", "springs and coil bind", side, "spring", keys))
    elif spring.coil_bind_height_m is None:
        lines.append(_not("spring", "coil bind", side, "spring", "coil_bind"))
    if spring is None or spring.surge_frequency_Hz is None:
        keys = "surge_frequency, or mass"
        lines.append(_not("surge", "spring surge", side, "spring", keys))
    if parts.train is None:
        lines.append(_not("spring", "force needed, valve float", side, "train", "moving_mass"))
    return lines


def _contact(parts: SideMechanics, cam: Cam, side: Side) -> list[Line]:
    lines = []
    follower = parts.follower
    if follower is None:
        keys = "kind, base_circle_radius, contact_width"
        item = "contact stress and curvature"
        lines.append(_not("contact", item, side, "follower", keys))
    elif follower.kind in ("bucket", "flat tappet") and follower.face_diameter_m is None:
        item = "whether the touching line stays on the face"
        lines.append(_not("contact", item, side, "follower", "face_diameter"))
    if cam.lash_m <= 0.0:
        lines.append(_not("seating", "seating velocity", side, "cam", "lash"))
    return lines


def _sleeve(parts: SideMechanics, cam: Cam, side: Side) -> list[Line]:
    if cam.sleeve is None:
        return []
    if not cam.sleeve.law_known:
        return [
            _not("sleeve", "forces and play of the sleeve", side, "sleeve", "rate"),
            _not("room", "room along the shaft", side, "sleeve", "rate"),
        ]
    known = parts.sleeve or SleeveParts()
    lines = []
    wanted = (
        ("force to move the sleeve, self-holding", ("helix_radius", "friction")),
        ("pressure on the splines", ("helix_radius", "splines", "spline_height", "spline_length")),
        ("wind-up of the shaft", ("shaft_diameter", "twisted_length")),
    )
    values = {
        "helix_radius": known.helix_radius_m,
        "friction": known.friction,
        "splines": known.spline_count,
        "spline_height": known.spline_height_m,
        "spline_length": known.spline_length_m,
        "shaft_diameter": known.shaft_diameter_m,
        "twisted_length": known.twisted_length_m,
    }
    for item, needed in wanted:
        lacking = [key for key in needed if values[key] is None]
        if lacking:
            lines.append(_not("sleeve", item, side, "sleeve", ", ".join(lacking)))
    if known.axial_play_m is None and known.circumferential_play_m is None:
        keys = "axial_play, or circumferential_play with helix_radius"
        lines.append(_not("sleeve", "play as degrees of duration", side, "sleeve", keys))
    if parts.room is None:
        keys = "between_bearings, lobes, fixed_per_lobe"
        lines.append(_not("room", "room along the shaft", side, "shaft_room", keys))
    return lines
