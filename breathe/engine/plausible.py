"""Ratios between given values: outside the usual a question, outside the possible a fault.

Only what the user gave is judged, never what was filled in. Ranges are common practice without a
source unless a comment names one.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import inf
from typing import Any

from breathe.engine.cams import card_centreline
from breathe.engine.findings import Findings
from breathe.engine.joints import runs_from_valves
from breathe.engine.keys import Range
from breathe.engine.mechanics import Mechanics, SleeveParts, Spring
from breathe.engine.parts import Cam, Side, Sleeve
from breathe.valvetrain.sleeve import circumferential_play_deg, helix_angle_deg, lead_m

WARN_PISTON_SPEED = 20.0
"""At the speed limit [m/s]; encyclopedia-type page "Mean piston speed"."""


@dataclass(frozen=True, slots=True)
class Judged:
    """A ratio or difference of given values."""

    place: str
    what: str
    value: float
    unit: str
    ask: Range
    refuse: Range
    slip: str = ""


def judge(values: Mapping[str, Any], findings: Findings) -> None:
    """Note faults and questions for every ratio whose values were given."""
    _say([*_cylinder(values), *_valves(values), *_timing(values)], findings)
    _warn_of_piston_speed(values.get("engine", {}), findings)


def _warn_of_piston_speed(engine: Mapping[str, Any], findings: Findings) -> None:
    if not {"stroke", "speed_limit"} <= engine.keys():
        return
    speed = engine["stroke"] * engine["speed_limit"] / 30
    if WARN_PISTON_SPEED < speed <= 25.0:
        text = (
            f"mean piston speed at speed_limit is {speed:.3g} m/s, above {WARN_PISTON_SPEED:g}: "
            "pistons, rods and bolts of common engines are not made for it"
        )
        findings.note("[engine]", text)


def judge_pipes(values: Mapping[str, Any], count: int, findings: Findings) -> None:
    """The same for the lengths of intake runners and exhaust primaries, once sizes are filled in.

    A length is judged if any part of it was given.
    """
    judged: list[tuple[Side, str, Range, Range]] = [
        ("intake", "intake length from valve to plenum or mouth", (150, 700), (30, 2000)),
        ("exhaust", "exhaust primary from port to collector", (250, 1100), (50, 3000)),
    ]
    slip = "cm for mm, or a part of it left out?"
    rows = []
    for side, what, ask, refuse in judged:
        for run in runs_from_valves(values, side, count, findings):
            # Of an exhaust in more than one piece the first is the port.
            parts = run[1:] if side == "exhaust" and len(run) > 1 else run
            # Without a length a row is at fault, which is said where its shape is read.
            known = all({"length", "stations"} & row.keys() for row in parts)
            if known and any({"length", "stations"} & set(row["found"]) for row in parts):
                length = sum(row.get("length") or row["stations"][-1] for row in parts) * 1e3
                place = parts[-1]["place"]
                rows.append(Judged(place, what, length, " mm", ask, refuse, slip))
    _say(rows, findings)


def judge_mechanics(mechanics: Mechanics, cams: Mapping[Side, Cam], findings: Findings) -> None:
    """The same for springs against the lift they have to bear, and for the sleeve's mechanism."""
    for side, cam in cams.items():
        of_side = mechanics.of(side)
        rows = []
        if of_side.spring is not None:
            lift = float(cam.lobe.lift_m.max())
            rows += _spring(of_side.spring, lift, f"[{side}.spring]")
        if of_side.sleeve is not None and cam.sleeve is not None:
            rows += _helix(of_side.sleeve, cam.sleeve, f"[{side}.sleeve]")
        _say(rows, findings)


def _say(rows: list[Judged], findings: Findings) -> None:
    for item in rows:
        figures = 4 if item.unit == " mm" and item.value >= 1000 else 3
        found = f"{item.what} is {item.value:.{figures}g}{item.unit}"
        if not item.refuse[0] <= item.value <= item.refuse[1]:
            expected = f"expected {_span(item.refuse)}{item.unit}"
            findings.fault(item.place, "; ".join(t for t in (found, expected, item.slip) if t))
        elif not item.ask[0] <= item.value <= item.ask[1]:
            usual = f"outside the usual {_span(item.ask)}{item.unit}."
            if item.ask[1] == inf:
                usual = f"below the usual {item.ask[0]:g}{item.unit}."
            findings.ask(item.place, f"{found}, {usual} {item.slip}".strip())


def _span(span: Range) -> str:
    return f"at least {span[0]:g}" if span[1] == inf else f"{span[0]:g} to {span[1]:g}"


def _spring(spring: Spring, lift_m: float, place: str) -> list[Judged]:
    open_N = spring.seat_load_N + spring.rate_N_per_m * lift_m
    what = f"load at full lift ({open_N:.0f} N) over seat load"
    ratio = open_N / spring.seat_load_N
    rows = [Judged(place, what, ratio, "", (1.6, 4.0), (1.0, 8.0), "Loads of one valve?")]
    if spring.coil_bind_height_m is not None:
        # 0.040-0.050 in advised by a builder (builders' thread on springs).
        left = spring.installed_height_m - lift_m - spring.coil_bind_height_m
        what = (
            f"margin to coil bind at full lift ({spring.installed_height_m * 1e3:.1f} less "
            f"{lift_m * 1e3:.1f} less {spring.coil_bind_height_m * 1e3:.1f} mm)"
        )
        rows.append(Judged(place, what, left * 1e3, " mm", (1.0, inf), (0.0, inf)))
    return rows


def _helix(parts: SleeveParts, sleeve: Sleeve, place: str) -> list[Judged]:
    if parts.helix_radius_m is None:
        return []
    what, angle = (
        "helix angle from the shaft",
        helix_angle_deg(lead_m(sleeve), parts.helix_radius_m),
    )
    slip = "A diameter for the helix radius?"
    rows = [Judged(place, what, angle, " deg", (5, 45), (1, 80), slip)]
    if parts.circumferential_play_m is not None:
        # A third of a usual step of 12 deg between settings.
        what = "circumferential play at the helix radius"
        play = circumferential_play_deg(parts.circumferential_play_m, parts.helix_radius_m)
        rows.append(Judged(place, what, play, " deg crank", (0, 4), (0, 40)))
    return rows


def _cylinder(values: Mapping[str, Any]) -> list[Judged]:
    engine = values.get("engine", {})
    bore, stroke = engine.get("bore"), engine.get("stroke")
    rows = []
    if bore and stroke:
        slip = "Inches in one of them?"
        rows.append(
            Judged("[engine]", "stroke/bore", stroke / bore, "", (0.55, 1.35), (0.3, 2.5), slip)
        )
    if stroke and "rod" in engine:
        ratio = engine["rod"] / stroke
        rows.append(Judged("[engine]", "rod/stroke", ratio, "", (1.4, 2.2), (1.1, 3.5)))
    if stroke and "speed_limit" in engine:
        speed = stroke * engine["speed_limit"] / 30
        # Encyclopedia-type page "Mean piston speed": 16 common petrol, 20-25 sport, 25 race.
        what = "mean piston speed at speed_limit"
        rows.append(Judged("[engine]", what, speed, " m/s", (3, 25), (1, 35)))
    return rows


def _valves(values: Mapping[str, Any]) -> list[Judged]:
    bore = values.get("engine", {}).get("bore")
    valve = {s: values.get(s, {}).get("valve", {}) for s in ("intake", "exhaust")}
    head = {s: valve[s].get("head_diameter") for s in valve}
    rows = []
    if bore and head["intake"]:
        # Two-valve heads: inlet port 44-48 % of the bore (university course page on poppet valves).
        count = valve["intake"].get("count")
        usual = {1: (0.42, 0.56), 2: (0.34, 0.42)}.get(count, (0.34, 0.56))
        slip = "A radius, or inches?"
        ratio = head["intake"] / bore
        place = "[intake.valve] head_diameter"
        rows.append(Judged(place, "head/bore", ratio, "", usual, (0.2, 0.65), slip))
    if head["intake"] and head["exhaust"]:
        # About 0.80 on parallel two-valve heads ("What is the Engine's Ultimate Power?").
        ratio = head["exhaust"] / head["intake"]
        place = "[exhaust.valve] head_diameter"
        slip = "Intake and exhaust swapped?" if ratio > 1 else ""
        what = "exhaust/intake head"
        rows.append(Judged(place, what, ratio, "", (0.75, 0.95), (0.5, 1.3), slip))
    if bore and head["intake"] and head["exhaust"]:
        ratio = (head["intake"] + head["exhaust"]) / bore
        what = "intake head + exhaust head over bore"
        rows.append(Judged("[engine] bore", what, ratio, "", (0.5, 0.98), (0.3, 1.3)))
    # Throats about 0.90 and 0.85 at most ("Porting Principals").
    throats: dict[str, Range] = {"intake": (0.82, 0.91), "exhaust": (0.78, 0.88)}
    for side, usual in throats.items():
        throat, lift = valve[side].get("throat_diameter"), _lift(values, side)
        if head[side] and throat:
            place = f"[{side}.valve] throat_diameter"
            rows.append(Judged(place, "throat/head", throat / head[side], "", usual, (0.6, 1.0)))
        if head[side] and lift:
            what, place = "lift/head diameter", f"[{side}.cam]"
            slip = "Lobe lift for valve lift, or inches?"
            ratio = lift / head[side]
            rows.append(Judged(place, what, ratio, "", (0.20, 0.40), (0.05, 0.6), slip))
    return rows


def _lift(values: Mapping[str, Any], side: str) -> float | None:
    cam = values.get(side, {}).get("cam", {})
    if "lift" in cam:
        return float(cam["lift"])
    if "lobe_lift" in cam and "rocker_ratio" in cam:
        return float(cam["lobe_lift"] * cam["rocker_ratio"])
    return None


def _timing(values: Mapping[str, Any]) -> list[Judged]:
    cams = {s: values.get(s, {}).get("cam", {}) for s in ("intake", "exhaust")}
    intake = card_centreline(cams["intake"], cams["intake"].get("duration"), "intake")
    exhaust = card_centreline(cams["exhaust"], cams["exhaust"].get("duration"), "exhaust")
    rows = []
    sleeved = any("sleeve" in values.get(s, {}) for s in cams)
    if intake is not None and exhaust is not None and not sleeved:
        # Most cams 98-120 (article on cam gas dynamics). A sleeve moves the middle of the opening.
        what, value = "lobe separation", (intake + exhaust) / 2
        slip = "Cam degrees where crank degrees are meant, or another dead centre?"
        # Near TDC for near BDC, on both cams: d/2 - a becomes d/2 - (d - 180 - a), and the mean of
        # the two its supplement.
        if 98 <= 180 - value <= 120:
            slip = (
                f"Intake and exhaust, or opening and closing, the wrong way round? That would be "
                f"{180 - value:.3g} cam deg"
            )
        rows.append(Judged("[intake.cam]", what, value, " cam deg", (98, 120), (80, 135), slip))
    for side, cam in cams.items():
        if {"duration", "second_duration", "second_height", "checking_height"} <= set(cam) and (
            0.8e-3 <= cam["second_height"] <= 1.3e-3 and cam["checking_height"] <= 0.2e-3
        ):
            # Examples 25-37 ("Durations explained").
            what = "duration less second_duration"
            value = cam["duration"] - cam["second_duration"]
            rows.append(Judged(f"[{side}.cam]", what, value, " deg", (15, 60), (5, 150)))
    return rows
