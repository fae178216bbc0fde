"""From a cam card or a measured lift sheet to a cam: lobe, centreline, lash, sleeve."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from breathe.engine.assumed import Filled, lash_of
from breathe.engine.card_lobe import (
    SEAT_HEIGHT_M,
    Card,
    ReadLobe,
    lobe_of_card,
    lobe_width,
)
from breathe.engine.events import crank_angle
from breathe.engine.parts import Cam, CardEvents, Side, Sleeve
from breathe.valvetrain.dwell import crank_deg_per_m

CARD_APART_DEG = 3.0
"""Crank degrees by which a measured lobe may differ from its card before that is asked about."""
STAND_IN_DEG_PER_M = 5000.0
"""Stands for the law of a sleeve whose law is not known; its travel is never told."""
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
    card: CardEvents | None = None
    """Of a cam whose card gives events or a duration."""


def build_cam(
    given: Mapping[str, Any], sleeve: Mapping[str, Any] | None, card: Card
) -> ReadCam | None:
    """The cam of one side, or None after noting why it cannot be."""
    faults = len(card.findings.faults)
    filled = Filled(given, card.table, card.findings)
    lash = filled.take("lash", lash_of(card.kind, card.side), "length", f"{card.kind.name}, warm")
    read = _measured(given, card) if "lift_file" in given else lobe_of_card(given, card, filled)
    built = build_sleeve(sleeve, card) if sleeve is not None else None
    if read is None or len(card.findings.faults) > faults:
        return None
    centreline = _centreline(given, read.duration_deg, card, read.centreline_deg)
    lobe = read.lobe
    if lash >= float(lobe.lift_m.max()):
        card.fault("lash", f"{lash * 1e3:g} mm takes up all the lift; expected less")
        return None
    cam = Cam(lobe=lobe, centreline_deg=centreline, lash_m=lash, sleeve=built)
    return ReadCam(cam, read.duration_deg, read.checking_height_m, _events(given, cam, read, card))


def _events(given: Mapping[str, Any], cam: Cam, read: ReadLobe, card: Card) -> CardEvents | None:
    """When the card has the valve open, if the card says anything of that."""
    if "lift_file" in given or not {"opens", "closes", "duration"} & given.keys():
        return None
    towards = 1.0 if card.side == "intake" else -1.0
    middle = 360.0 + towards * cam.centreline_deg
    return CardEvents(
        side=card.side,
        opens_deg=middle - read.duration_deg / 2,
        closes_deg=middle + read.duration_deg / 2,
        checking_height_m=read.checking_height_m,
    )


def build_sleeve(given: Mapping[str, Any], card: Card) -> Sleeve | None:
    """The sleeve of one side: two of travel, rate or lead, and range; or the range alone."""
    place = f"[{card.side}.sleeve]"
    rate = _rate(given, place, card)
    travel: float | None = given.get("travel")
    span: float | None = given.get("range")
    law_known = True
    if span is not None and travel and rate is None:
        rate = span / travel
    elif span is not None and travel is None and rate is not None:
        travel = span / rate
    elif span is not None and travel is None:
        law_known, rate, travel = False, STAND_IN_DEG_PER_M, span / STAND_IN_DEG_PER_M
        text = "rate is not known, so only degrees are told; travel, room and force are left blank"
        card.findings.note(place, text)
    elif span and travel and rate and abs(travel * rate - span) > 0.005 * span:
        text = (
            f"travel {travel * 1e3:g} mm at {rate / 1e3:g} deg crank/mm is {travel * rate:.4g} "
            f"deg crank, found range {span:g} deg crank; give two of them"
        )
        card.findings.fault(place, text)
    for key, value in (("travel", travel), ("rate", rate)):
        if value is None:
            example = '"12 mm"' if key == "travel" else '"5.0 deg crank/mm", or lead = "144 mm"'
            text = f"{key} is missing; write {key} = {example}"
            if key == "rate":
                text += '; if it is open yet, range = "60 deg crank" in place of travel'
            card.findings.fault(place, text)
    if rate is None or travel is None:
        return None
    if travel == 0.0:
        card.findings.ask(f"{place} travel", "found 0: a sleeve that never moves?")
    return Sleeve(
        travel_max_m=travel,
        crank_deg_per_m=rate,
        closing_share=_closing_share(given, place, card),
        law_known=law_known,
    )


def _rate(given: Mapping[str, Any], place: str, card: Card) -> float | None:
    """Added crank degrees per metre, from the rate or the lead."""
    rate: float | None = given.get("rate")
    if "lead" not in given:
        return rate
    by_lead = crank_deg_per_m(given["lead"])
    if rate is not None and abs(rate - by_lead) > 0.005 * by_lead:
        text = (
            f"rate {rate / 1e3:g} deg crank/mm and lead {given['lead'] * 1e3:g} mm "
            f"({by_lead / 1e3:.2f} deg crank/mm) disagree; give one"
        )
        card.findings.fault(place, text)
    return by_lead


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


def _measured(given: Mapping[str, Any], card: Card) -> ReadLobe | None:
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
        card.fault("lift_file", _as_keys(str(error), given["lift_file"]))
        return None
    told = [_as_keys(line, given["lift_file"]) for line in found.told()]
    for line in told:
        if "?" in line:
            card.findings.ask(f"{card.place} lift_file", line)
    name = f"{found.readings.name}: "
    understood = "; ".join(line.removeprefix(name) for line in told if "?" not in line)
    card.findings.note(f"{card.place} lift_file", name + understood)
    height = given.get("checking_height", SEAT_HEIGHT_M)
    width = lobe_width(found.lobe, height)
    stated = given.get("duration")
    if stated is not None and abs(stated - width) > CARD_APART_DEG:
        text = (
            f"{stated:g} deg by the card, but the measured lobe has {width:.1f} at "
            f"{height * 1e3:.3g} mm; the measured one counts"
        )
        card.findings.ask(f"{card.place} duration", text)
    return ReadLobe(found.lobe, width, height, found.centreline_deg)


def _as_keys(message: str, sheet: str) -> str:
    """A message of the sheet's reader with the keys of this file in place of options."""
    if "say so with --zero arbitrary" in message:
        return message.replace(
            "say so with --zero arbitrary",
            f"write a curve that counts from its nose, `breathe lobe {sheet} --zero arbitrary "
            "--write nose.csv`, and say lift_file and centreline",
        )
    message = re.sub(r"; say otherwise with --zero$", ", and only so", message)
    message = re.sub(r"--angles (cam|crank)", r'lift_angles = "\1"', message)
    message = message.replace("--column", "lift_column")
    if "--" in message:
        message += " (options of `breathe lobe`, which writes a clean curve with --write)"
    return message


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
        text = (
            f"{found:g} by the card, {measured:.1f} in {given['lift_file']}; which is right? The "
            "card counts"
        )
        card.findings.ask(f"{card.place} centreline", text)
    if found is None:
        separation = card.kind.lobe_separation_cam_deg
        word = "ATDC" if card.side == "intake" else "BTDC"
        reason = f"lobe separation {separation:g} cam deg of {card.kind.name}, set straight up"
        card.findings.assume(f"{card.table}.centreline", f"{separation:g} {word}", reason)
        if "lift_file" in given:
            text = (
                f"where is the nose? {given['lift_file']} does not say where TDC is; "
                f'{separation:g} {word} is taken. Write centreline = "{separation:g} {word}"'
            )
            card.findings.ask(f"{card.place} centreline", text)
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
