"""The mechanical tables of an engine file -> `Mechanics`.

A table that is not there leaves its part out. A table that lacks what the check needs is asked
about and its part left out too, so that a run which needs none of it goes on; the check then says
NOT CHECKED. What contradicts itself is a fault.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from breathe.engine.assumed import Filled
from breathe.engine.cams import ReadCam
from breathe.engine.card_lobe import usual_rocker
from breathe.engine.engine_classes import EngineClass
from breathe.engine.findings import COMMON_PRACTICE, Findings
from breathe.engine.gaps_read import piston_gap, valve_pair
from breathe.engine.given import Given, part
from breathe.engine.mechanics import (
    Follower,
    Mechanics,
    ShaftRoom,
    SideMechanics,
    SleeveParts,
    Tolerances,
)
from breathe.engine.parts import Cam, Side
from breathe.engine.plausible import judge_mechanics
from breathe.engine.springs_read import spring, train
from breathe.valvetrain.room import room_sum, travel_room_m

MATERIAL: Mapping[str, tuple[float, float]] = {
    "steel": (207e9, 0.30),
    "iron": (130e9, 0.27),
}
"""Modulus of elasticity [Pa] and Poisson's ratio [-] (from memory; cast iron of cams and tappets
has 100 to 170 GPa by grade)."""
_SIDE_TABLES = ("spring", "train", "follower", "clearance", "shaft_room")
_SLEEVE_KEYS: Mapping[str, str] = {
    "helix_radius": "helix_radius_m",
    "friction": "friction",
    "axial_play": "axial_play_m",
    "circumferential_play": "circumferential_play_m",
    "splines": "spline_count",
    "spline_height": "spline_height_m",
    "spline_length": "spline_length_m",
    "shaft_diameter": "shaft_diameter_m",
    "shaft_bore": "shaft_bore_m",
    "twisted_length": "twisted_length_m",
}


def build_mechanics(
    values: Mapping[str, Any],
    kind: EngineClass,
    cams: Mapping[Side, ReadCam],
    findings: Findings,
) -> Mechanics | None:
    """What the file says of springs, followers, clearances and the sleeve; None if nothing.

    Parameters
    ----------
    values : mapping
        The checked file in SI.
    kind : EngineClass
    cams : mapping
        The engine's own cams as read; a faulty one is missing.
    findings : Findings
        Receives faults, questions and what was assumed.
    """
    if not any(_speaks(values.get(side, {})) for side in ("intake", "exhaust")) and not (
        {"valve_pair", "tolerance"} & values.keys()
    ):
        return None
    mechanics = Mechanics(
        intake=_side(values, "intake", kind, findings),
        exhaust=_side(values, "exhaust", kind, findings),
        valve_pair=part(values, "valve_pair", findings, valve_pair),
        tolerances=_tolerances(values, findings),
    )
    own: dict[Side, Cam] = {side: read.cam for side, read in cams.items()}
    judge_mechanics(mechanics, own, findings)
    return mechanics


def _speaks(side: Mapping[str, Any]) -> bool:
    return bool(side.keys() & set(_SIDE_TABLES) or side.get("sleeve", {}).keys() & _SLEEVE_KEYS)


def _side(
    values: Mapping[str, Any], side: Side, kind: EngineClass, findings: Findings
) -> SideMechanics:
    ratio = _rocker_ratio(values.get(side, {}).get("cam", {}), kind)
    return SideMechanics(
        spring=part(values, f"{side}.spring", findings, spring),
        train=part(values, f"{side}.train", findings, train),
        follower=part(values, f"{side}.follower", findings, lambda g: _follower(g, ratio)),
        piston_gap=part(values, f"{side}.clearance", findings, piston_gap),
        sleeve=part(values, f"{side}.sleeve", findings, _sleeve_parts),
        room=part(values, f"{side}.shaft_room", findings, _shaft_room),
    )


def _rocker_ratio(cam: Mapping[str, Any], kind: EngineClass) -> float | None:
    """Rocker ratio the cam was read with; None where lift at the valve is all that is known."""
    if "rocker_ratio" in cam:
        return float(cam["rocker_ratio"])
    return usual_rocker(kind) if "lobe_lift" in cam else None


def _follower(given: Given, rocker_ratio: float | None) -> Follower | None:
    values = given.values
    if given.lacks(
        "kind", "base_circle_radius", "contact_width", what="contact of lobe and follower"
    ):
        return None
    kind, roller, face = values["kind"], values.get("roller_radius"), values.get("face_radius")
    if kind == "roller" and given.lacks("roller_radius", what="contact of lobe and follower"):
        return None
    if kind in ("bucket", "flat tappet") and (roller is not None or face is not None):
        key = "roller_radius" if roller is not None else "face_radius"
        given.fault(key, f"a {kind} has a flat face; leave it out, or change the kind")
        return None
    if roller is not None and face is not None:
        given.fault("face_radius", "a roller has no face_radius; give one of them")
        return None
    offset = values.get("offset", 0.0)
    if abs(offset) >= values["base_circle_radius"]:
        given.fault("offset", "found more than base_circle_radius; expected less")
        return None
    if rocker_ratio is None and kind != "bucket":
        side = given.table.partition(".")[0]
        text = f"[{side}.cam] gives no rocker_ratio; 1 is taken between follower and valve"
        given.ask("", text)
    materials = Filled(values, given.table, given.findings).take_text(
        "materials", "steel on steel", "follower on lobe; decides the contact stress"
    )
    (follower_E, follower_n), (lobe_E, lobe_n) = (MATERIAL[m] for m in materials.split(" on "))
    return Follower(
        kind=kind,
        base_circle_radius_m=values["base_circle_radius"],
        contact_width_m=values["contact_width"],
        face_diameter_m=values.get("face_diameter"),
        face_radius_m=face,
        roller_radius_m=roller,
        offset_m=offset,
        lobe_modulus_Pa=lobe_E,
        follower_modulus_Pa=follower_E,
        lobe_poisson=lobe_n,
        follower_poisson=follower_n,
        rocker_ratio=1.0 if rocker_ratio is None else rocker_ratio,
        materials=materials,
    )


def _tolerances(values: Mapping[str, Any], findings: Findings) -> Tolerances:
    usual = Tolerances()
    given = Filled(values.get("tolerance", {}), "tolerance", findings)
    return Tolerances(
        cam_timing_deg=given.take(
            "cam", usual.cam_timing_deg, "angle", "a degreed cam stands within this"
        ),
        chain_slack_deg=given.take(
            "chain_slack", usual.chain_slack_deg, "angle", "a tight chain or belt"
        ),
        over_speed=1.0
        + given.take("over_speed", usual.over_speed - 1.0, "share", "a missed shift"),
    )


def _sleeve_parts(given: Given) -> SleeveParts | None:
    found = {_SLEEVE_KEYS[k]: v for k, v in given.values.items() if k in _SLEEVE_KEYS}
    if not found:
        return None
    bore, diameter = found.get("shaft_bore_m", 0.0), found.get("shaft_diameter_m")
    if diameter is not None and bore >= diameter:
        given.fault("shaft_bore", f"{bore * 1e3:g} mm leaves no shaft of {diameter * 1e3:g} mm")
        return None
    radius, height = found.get("helix_radius_m"), found.get("spline_height_m")
    if radius is not None and height is not None and height >= radius:
        given.fault("spline_height", "found more than helix_radius; expected less")
        return None
    if "circumferential_play_m" in found and radius is None:
        text = "tells no degrees without helix_radius; it is left out"
        given.ask("circumferential_play", text)
        del found["circumferential_play_m"]
    return SleeveParts(**found)


def _shaft_room(given: Given) -> ShaftRoom | None:
    if given.lacks("between_bearings", "lobes", "fixed_per_lobe", what="the room along the shaft"):
        return None
    values = given.values
    shared = values.get("shared_sleeve")
    if shared is None:
        shared = False
        if values["lobes"] > 1:
            reason = "each lobe has a sleeve of its own"
            given.findings.assume(f"{given.table}.shared_sleeve", "false", reason, COMMON_PRACTICE)
    room = ShaftRoom(
        between_bearings_m=values["between_bearings"],
        lobes=values["lobes"],
        fixed_per_lobe_m=values["fixed_per_lobe"],
        shared_sleeve=shared,
    )
    if travel_room_m(room) <= 0:
        given.ask("", f"no room for travel: {room_sum(room)}")
    return room
