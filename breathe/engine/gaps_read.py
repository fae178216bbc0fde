"""Valve to piston and valve to valve, from the engine file."""

from __future__ import annotations

import math

import numpy as np

from breathe.engine.assumed import Filled
from breathe.engine.given import Given
from breathe.engine.mechanics import PistonGap, PocketFloor, ValvePair
from breathe.engine.parts import Floats


def piston_gap(given: Given) -> PistonGap | None:
    """Room below a seated valve, along the valve; None after asking for what is missing."""
    readings = _readings(given)
    if readings is None or given.lacks("valve_angle", what="the gap to the piston"):
        return None
    angle, gap = readings
    lean = given.values["valve_angle"]
    floor: PocketFloor | None = given.values.get("floor")
    if floor is None:
        floor = "parallel to the valve"
        if lean:
            reason = "a pocket sunk along the valve; leaves less room than a flat crown"
            given.findings.assume(f"{given.table}.floor", floor, reason)
    return PistonGap(
        angle_deg=angle,
        gap_m=gap * _along_valve(given, lean, floor, float(gap[np.argmin(abs(angle))])),
        valve_angle_deg=lean,
        floor=floor,
    )


def _readings(given: Given) -> tuple[Floats, Floats] | None:
    """Angles from overlap TDC [deg] and gaps [m] as measured; None if there are none to use."""
    values = given.values
    table = {"angle", "gap"} & values.keys()
    if "at_tdc" in values and table:
        given.fault("at_tdc", "found beside a table of angle and gap; give one of them")
        return None
    if "at_tdc" in values:
        return np.array([0.0]), np.array([values["at_tdc"]])
    if not table:
        what = "the gap to the piston"
        given.ask("at_tdc", f"missing, as are angle and gap; without them {what} is NOT CHECKED")
        return None
    if given.lacks("angle", "gap", what="the gap to the piston"):
        return None
    points, gap = values["angle"], values["gap"]
    if len(points) != len(gap):
        given.fault("angle", f"found {len(points)} angles for {len(gap)} gaps; expected as many")
        return None
    if any(p.centre != "TDC" or abs(p.after_deg) > 90 for p in points):
        given.fault("angle", 'expected angles within 90 deg of TDC, such as "15 BTDC"')
        return None
    order = np.argsort([p.after_deg for p in points])
    angle = np.array([p.after_deg for p in points])[order]
    if np.any(np.diff(angle) <= 0):
        given.fault("angle", "found the same angle twice; expected one gap for each")
        return None
    return angle, np.array(gap)[order]


def _along_valve(given: Given, lean_deg: float, floor: str, gap_m: float) -> float:
    """What a measured gap is multiplied by to count along the valve."""
    if lean_deg == 0:
        return 1.0
    cosine = math.cos(math.radians(lean_deg))
    factor = cosine if floor == "parallel to the valve" else 1.0 / cosine
    measured = given.values.get("measured")
    shown = f"{gap_m * factor * 1e3:.2f} mm"
    if measured is None:
        # The reading that leaves less room, so that a gap never clears by a guess.
        least = min(factor, 1.0)
        taken = "along the bore" if least < 1.0 else "along the valve"
        text = (
            f"along the valve or along the bore? {gap_m * 1e3:.2f} mm along the bore are {shown} "
            f'along the valve; "{taken}" is taken, as it leaves less room'
        )
        given.ask("measured", text)
        return least
    if measured == "along the valve":
        return 1.0
    reason = f"along the valve, from {gap_m * 1e3:.2f} mm along the bore at {lean_deg:g} deg"
    given.findings.assume(f"{given.table}.gap", shown, reason, "geometry")
    return factor


def valve_pair(given: Given) -> ValvePair | None:
    """Where the two valves lie to each other; None after asking for what is missing."""
    values = given.values
    if given.lacks("seat_centre_distance", "intake_angle", "exhaust_angle", what="valve to valve"):
        return None
    thin = "heads taken as thin discs, which hides what their edges take"
    return ValvePair(
        seat_centre_distance_m=values["seat_centre_distance"],
        intake_angle_deg=values["intake_angle"],
        exhaust_angle_deg=values["exhaust_angle"],
        edge_thickness_m=Filled(values, given.table, given.findings).take(
            "edge_thickness", 0.0, "length", thin
        ),
    )
