"""From a cam card or a measured lift sheet to a cam: lobe, centreline, lash, sleeve."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from breathe.engine.assumed import EngineClass, Filled, lash_of
from breathe.engine.events import crank_angle
from breathe.engine.findings import Findings
from breathe.engine.parts import Cam, Lobe, Side, Sleeve
from breathe.valvetrain.dwell import crank_deg_per_m
from breathe.valvetrain.lobe import TYPICAL_EXPONENT, TYPICAL_SOURCE, lobe_from_card

SEAT_HEIGHT_M = 0.10e-3
"""Checking height of the class durations, and of a card that names none."""
OTHER_HEIGHT_M = 1.0e-3
CARD_APART_DEG = 3.0
"""Crank degrees by which a measured lobe may differ from its card before that is asked about."""
_HELD_SHARE = {"opening": 1.0, "closing": 0.0, "centre": 0.5}


@dataclass(frozen=True, slots=True)
class ReadCam:
    """A cam with the duration its settings are counted from."""

    cam: Cam
    duration_deg: float
    """At zero travel and ``checking_height_m``, crank degrees, lash not taken off: as on the card,
    and longer than the running valve is open above that height."""
    checking_height_m: float
    """Lift at the valve, zero lash."""


@dataclass(frozen=True, slots=True)
class _Read:
    """A lobe with what was read beside it."""

    lobe: Lobe
    duration_deg: float
    checking_height_m: float
    centreline_deg: float | None = None
    """Where a measured sheet tells it, as a card writes it."""


@dataclass(frozen=True, slots=True)
class Card:
    """What the cams of one side are read against."""

    side: Side
    place: str
    """As in the file, such as ``[intake.cam]``."""
    kind: EngineClass
    head_diameter_m: float
    folder: Path
    findings: Findings

    def fault(self, key: str, text: str) -> None:
        self.findings.fault(f"{self.place} {key}".rstrip(), text)

    @property
    def table(self) -> str:
        return self.place.strip("[]").replace("]] ", " ")


def build_cam(
    given: Mapping[str, Any], sleeve: Mapping[str, Any] | None, card: Card
) -> ReadCam | None:
    """The cam of one side, or None after noting why it cannot be."""
    faults = len(card.findings.faults)
    filled = Filled(given, card.table, card.findings)
    lash = filled.take("lash", lash_of(card.kind, card.side), "length", f"{card.kind.name}, warm")
    read = _measured(given, card) if "lift_file" in given else _from_card(given, card, filled)
    built = build_sleeve(sleeve, card) if sleeve is not None else None
    if read is None or len(card.findings.faults) > faults:
        return None
    centreline = _centreline(given, read.duration_deg, card, read.centreline_deg)
    lobe = read.lobe
    if lash >= float(lobe.lift_m.max()):
        card.fault("lash", f"{lash * 1e3:g} mm takes up all the lift; expected less")
        return None
    cam = Cam(lobe=lobe, centreline_deg=centreline, lash_m=lash, sleeve=built)
    return ReadCam(cam, read.duration_deg, read.checking_height_m)


def build_sleeve(given: Mapping[str, Any], card: Card) -> Sleeve | None:
    """The sleeve of one side; travel and either its rate or its lead must be given."""
    place = f"[{card.side}.sleeve]"
    rate = given.get("rate")
    if "lead" in given:
        by_lead = crank_deg_per_m(given["lead"])
        if rate is not None and abs(rate - by_lead) > 0.005 * by_lead:
            text = (
                f"rate {rate / 1e3:g} deg crank/mm and lead {given['lead'] * 1e3:g} mm "
                f"({by_lead / 1e3:.2f} deg crank/mm) disagree; give one"
            )
            card.findings.fault(place, text)
        rate = by_lead
    for key, value in (("travel", given.get("travel")), ("rate", rate)):
        if value is None:
            example = '"12 mm"' if key == "travel" else '"5.0 deg crank/mm", or lead = "144 mm"'
            card.findings.fault(place, f"{key} is missing; write {key} = {example}")
    if rate is None or "travel" not in given:
        return None
    return Sleeve(
        travel_max_m=given["travel"],
        crank_deg_per_m=rate,
        closing_share=_closing_share(given, place, card),
    )


def _closing_share(given: Mapping[str, Any], place: str, card: Card) -> float:
    held, share = given.get("hold"), given.get("closing_share")
    if held is not None and share is not None and abs(_HELD_SHARE[held] - share) > 1e-9:
        text = f'hold = "{held}" means closing_share = {_HELD_SHARE[held]:g}, found {share:g}'
        card.findings.fault(place, text)
    if share is not None:
        return float(share)
    if held is None:
        held = "opening" if card.side == "intake" else "closing"
        reason = f"{held} point held, so that overlap does not change"
        card.findings.assume(f"{card.side}.sleeve.hold", held, reason)
    return _HELD_SHARE[held]


def _measured(given: Mapping[str, Any], card: Card) -> _Read | None:
    """Lobe of a measured sheet; what was understood of the sheet is asked back."""
    from breathe.measured.lift_file import Asked
    from breathe.measured.lobe import measured_lobe
    from breathe.measured.sheet import SheetError

    asked = Asked(
        angles=given.get("lift_angles"),
        column=given.get("lift_column"),
        side=card.side,
        ordered_deg=given.get("duration"),
        rocker_ratio=given.get("rocker_ratio", 1.0),
    )
    try:
        found = measured_lobe(card.folder / given["lift_file"], asked)
    except SheetError as error:
        card.fault("lift_file", _as_keys(str(error)))
        return None
    for line in found.told():
        card.findings.ask(f"{card.place} lift_file", _as_keys(line))
    height = given.get("checking_height", SEAT_HEIGHT_M)
    width = lobe_width(found.lobe, height)
    stated = given.get("duration")
    if stated is not None and abs(stated - width) > CARD_APART_DEG:
        text = (
            f"{stated:g} deg by the card, but the measured lobe has {width:.1f} at "
            f"{height * 1e3:.3g} mm; the measured one counts"
        )
        card.findings.ask(f"{card.place} duration", text)
    return _Read(found.lobe, width, height, found.centreline_deg)


def _as_keys(message: str) -> str:
    """A message of the sheet's reader with the keys of this file in place of options."""
    message = re.sub(r"--angles (cam|crank)", r'lift_angles = "\1"', message)
    message = message.replace("--column", "lift_column")
    if "--" in message:
        message += " (options of `breathe lobe`, which writes a clean curve with --write)"
    return message


def _from_card(given: Mapping[str, Any], card: Card, filled: Filled) -> _Read | None:
    lift = _lift(given, card, filled)
    duration, known = _duration(given, card)
    if not known and {"checking_height", "second_duration", "second_height"} & given.keys():
        card.fault("", "a checking height needs its duration; give duration, or opens and closes")
        return None
    to_valve = _height_factor(given, card)
    height = given.get("checking_height")
    if height is None:
        height = _missing_height(given, duration, lift, known, to_valve, card)
    second = None
    if "second_duration" in given or "second_height" in given:
        if "second_duration" not in given or "second_height" not in given:
            card.fault("", "second_duration and second_height go together")
            return None
        second = (given["second_duration"], given["second_height"] * to_valve)
    try:
        lobe, note = lobe_from_card(duration, height * to_valve, lift, second=second)
    except ValueError as error:
        card.fault("", str(error))
        return None
    if note:
        value = f"cosine to the power {TYPICAL_EXPONENT:g}"
        card.findings.assume(f"{card.table}.second_duration", value, note, TYPICAL_SOURCE)
    return _Read(lobe, duration, height * to_valve)


def _lift(given: Mapping[str, Any], card: Card, filled: Filled) -> float:
    """Full lift at the valve, zero lash [m]."""
    if "lobe_lift" not in given:
        share = card.kind.lift_over_diameter
        reason = f"{share:g} of the valve head, typical of {card.kind.name}"
        return filled.take("lift", share * card.head_diameter_m, "length", reason, digits=3)
    ratio = filled.take("rocker_ratio", usual_rocker(card.kind), "", f"typical of {card.kind.name}")
    lift = float(given["lobe_lift"]) * ratio
    if "lift" in given and abs(given["lift"] - lift) > 0.02 * lift:
        text = (
            f"lift {given['lift'] * 1e3:.2f} mm is not lobe_lift x rocker_ratio = "
            f"{lift * 1e3:.2f} mm; give one of them"
        )
        card.fault("", text)
    return lift


def usual_rocker(kind: EngineClass) -> float:
    """Rocker ratio taken where a card gives lobe lift alone."""
    return 1.5 if kind.name == "road 2V pushrod" else 1.0


def _height_factor(given: Mapping[str, Any], card: Card) -> float:
    """Lift at the valve for one of lift where the card counts its durations."""
    if "lobe_lift" not in given:
        if given.get("checked_at") == "lobe" and "rocker_ratio" in given:
            return float(given["rocker_ratio"])
        return 1.0
    where = given.get("checked_at")
    if where is None and "checking_height" in given:
        where = "lobe"
        reason = "a card that gives lobe lift counts at the lobe"
        card.findings.assume(f"{card.table}.checked_at", where, reason)
    ratio = given.get("rocker_ratio", usual_rocker(card.kind))
    return float(ratio) if where == "lobe" else 1.0


def _duration(given: Mapping[str, Any], card: Card) -> tuple[float, bool]:
    """Duration at the checking height, and whether the user gave it."""
    if "opens" in given and "closes" in given:
        opens, closes = (crank_angle(given[k], card.side) for k in ("opens", "closes"))
        span = closes - opens
        if not 120 <= span <= 400:
            text = f"opens and closes make {span:g} deg crank; expected 120 to 400"
            card.fault("", text)
        elif "duration" in given and abs(given["duration"] - span) > 0.5:
            text = f"opens and closes make {span:g} deg crank, duration says {given['duration']:g}"
            card.fault("", text)
        return float(np.clip(span, 120, 400)), True
    if "duration" in given:
        return float(given["duration"]), True
    kind = card.kind
    usual = kind.intake_duration_deg if card.side == "intake" else kind.exhaust_duration_deg
    value, reason = f"{usual:g} deg crank", f"typical of {kind.name}"
    card.findings.assume(f"{card.table}.duration", value, reason)
    return usual, False


def _missing_height(
    given: Mapping[str, Any],
    duration: float,
    lift: float,
    known: bool,
    to_valve: float,
    card: Card,
) -> float:
    """Checking height where the card names none; says what a wrong guess changes."""
    lash = given.get("lash", 0.0)
    height, reason = SEAT_HEIGHT_M, "the card names none" if known else "goes with that duration"
    if lash > 0 and known:
        height, reason = lash, "the card names none: the valve leaves its seat as lash is used up"
    shown = f"{height / to_valve * 1e3:.3g} mm"
    card.findings.assume(f"{card.table}.checking_height", shown, reason)
    if "lobe_lift" in given and "checked_at" not in given:
        card.findings.assume(f"{card.table}.checked_at", "valve", "goes with that height")
    if not known:
        return float(height / to_valve)
    try:
        taken, other = (
            lobe_width(lobe_from_card(duration, at, lift)[0], SEAT_HEIGHT_M)
            for at in (height, OTHER_HEIGHT_M)
        )
    except ValueError:
        return float(height / to_valve)
    text = (
        f"missing; {shown} is taken. If the card counts at 1.0 mm, the lobe has "
        f"{other - taken:.0f} deg more at 0.10 mm, lash not taken off"
    )
    card.findings.ask(f"{card.place} checking_height", text)
    return float(height / to_valve)


def lobe_width(lobe: Lobe, height_m: float) -> float:
    """Crank degrees for which a lobe's lift is above ``height_m``, lash not taken off."""
    top = int(np.argmax(lobe.lift_m))
    up, down = lobe.lift_m[: top + 1], lobe.lift_m[top:]
    opens = np.interp(height_m, up, lobe.angle_deg[: top + 1])
    closes = np.interp(height_m, down[::-1], lobe.angle_deg[top:][::-1])
    return float(closes - opens)


def _centreline(
    given: Mapping[str, Any], duration: float, card: Card, measured: float | None
) -> float:
    """Degrees from overlap TDC to the nose: after it for intake, before it for exhaust."""
    towards = 1.0 if card.side == "intake" else -1.0
    found = card_centreline(given, duration, card.side)
    if found is None and measured is not None:
        word = "ATDC" if card.side == "intake" else "BTDC"
        reason = "nose of the measured lobe"
        source = f"measured: {given['lift_file']}"
        card.findings.assume(f"{card.table}.centreline", f"{measured:.1f} {word}", reason, source)
        return measured
    if found is not None and measured is not None and abs(found - measured) > CARD_APART_DEG:
        text = f"{found:g} by the card, {measured:.1f} in {given['lift_file']}; the card counts"
        card.findings.ask(f"{card.place} centreline", text)
    if found is None:
        separation = card.kind.lobe_separation_cam_deg
        word = "ATDC" if card.side == "intake" else "BTDC"
        reason = f"lobe separation {separation:g} cam deg of {card.kind.name}, set straight up"
        card.findings.assume(f"{card.table}.centreline", f"{separation:g} {word}", reason)
        return separation
    if "centreline" in given:
        stated = towards * (crank_angle(given["centreline"], card.side) - 360.0)
        if abs(stated - found) > 1.0:
            text = (
                f"found {stated:g} deg from overlap TDC, but the middle of opens and closes is "
                f"{found:g}; give one of them"
            )
            card.fault("centreline", text)
    if not 60 <= found <= 160:
        text = f"comes to {found:g} deg from overlap TDC; expected 60 to 160"
        card.fault("centreline", text)
    return found


def card_centreline(given: Mapping[str, Any], duration: float | None, side: Side) -> float | None:
    """Centreline a card states or implies, or None if it says nothing of it."""
    towards = 1.0 if side == "intake" else -1.0
    opens = crank_angle(given["opens"], side) if "opens" in given else None
    closes = crank_angle(given["closes"], side) if "closes" in given else None
    if opens is not None and closes is not None:
        middle = (opens + closes) / 2
    elif opens is not None and duration is not None:
        middle = opens + duration / 2
    elif closes is not None and duration is not None:
        middle = closes - duration / 2
    elif "centreline" in given:
        middle = crank_angle(given["centreline"], side)
    else:
        return None
    return towards * (middle - 360.0)
