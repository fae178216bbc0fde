"""The lobe of a cam card: durations at checking heights, lift, and what a card leaves out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from breathe.engine.assumed import Filled
from breathe.engine.engine_classes import EngineClass
from breathe.engine.events import crank_angle
from breathe.engine.findings import Findings
from breathe.engine.parts import Lobe, Side
from breathe.valvetrain.lobe import TYPICAL_EXPONENT, TYPICAL_SOURCE, lobe_from_card

SEAT_HEIGHT_M = 0.10e-3
"""Checking height of the class durations, and of a card that names none."""
OTHER_HEIGHT_M = 1.0e-3
CARD_HEIGHTS: Mapping[str, float] = {
    "0.1 mm": 0.10e-3,
    "0.006 in": 0.1524e-3,
    "1 mm": 1.0e-3,
    "0.050 in": 1.27e-3,
}
"""Checking heights that cards use (common practice)."""


@dataclass(frozen=True, slots=True)
class ReadLobe:
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


def lobe_of_card(given: Mapping[str, Any], card: Card, filled: Filled) -> ReadLobe | None:
    """Lobe of what a card gives and what is typical, or None after noting why it cannot be."""
    lift = _lift(given, card, filled)
    to_valve = _height_factor(given, card)
    duration = _duration(given, card)
    if duration is None and {"second_duration", "second_height"} & given.keys():
        card.fault("", "second_duration needs the first; give duration, or opens and closes")
        return None
    height = given.get("checking_height")
    if duration is None:
        duration, height = _usual_duration(height, lift, to_valve, card)
    elif height is None:
        height = _missing_height(given, duration, lift, to_valve, card)
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
        _tell_flank(lobe, height * to_valve, card)
    return ReadLobe(lobe, duration, height * to_valve)


def _tell_flank(lobe: Lobe, height_m: float, card: Card) -> None:
    """What a typical flank makes of a card with one duration."""
    far = height_m < 0.8 * OTHER_HEIGHT_M
    at = OTHER_HEIGHT_M if far else SEAT_HEIGHT_M
    value = f"{lobe_width(lobe, at):.0f} deg crank at {at * 1e3:.1f} mm"
    reason = (
        f"only the duration at {height_m * 1e3:.3g} mm is known; a typical flank is taken, lift "
        f"falling from the nose as a cosine to the power {TYPICAL_EXPONENT:g}"
    )
    card.findings.assume(f"{card.table}.second_duration", value, reason, TYPICAL_SOURCE)


def _lift(given: Mapping[str, Any], card: Card, filled: Filled) -> float:
    """Full lift at the valve, zero lash [m]."""
    if "lobe_lift" not in given:
        share = card.kind.lift_over_diameter
        reason = f"{share:g} of the valve head, typical of {card.kind.name}"
        return filled.take("lift", share * card.head_diameter_m, "length", reason, step=0.1e-3)
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


def _duration(given: Mapping[str, Any], card: Card) -> float | None:
    """Duration at the checking height, or None if the card does not give it."""
    if "opens" in given and "closes" in given:
        opens, closes = (crank_angle(given[k], card.side) for k in ("opens", "closes"))
        span = closes - opens
        if not 120 <= span <= 400:
            text = f"opens and closes make {span:g} deg crank; expected 120 to 400"
            card.fault("", text)
        elif "duration" in given and abs(given["duration"] - span) > 0.5:
            text = f"opens and closes make {span:g} deg crank, duration says {given['duration']:g}"
            card.fault("", text)
        return float(np.clip(span, 120, 400))
    return float(given["duration"]) if "duration" in given else None


def _usual_duration(
    height: float | None, lift: float, to_valve: float, card: Card
) -> tuple[float, float]:
    """Duration of the class and its height; at a given height, what that lobe has there."""
    kind = card.kind
    usual = kind.intake_duration_deg if card.side == "intake" else kind.exhaust_duration_deg
    reason = f"typical of {kind.name}"
    if height is None:
        card.findings.assume(f"{card.table}.duration", f"{usual:g} deg crank", reason)
        height = SEAT_HEIGHT_M / to_valve
        text = f"{height * 1e3:.3g} mm"
        card.findings.assume(f"{card.table}.checking_height", text, "goes with that duration")
        return usual, height
    try:
        width = lobe_width(lobe_from_card(usual, SEAT_HEIGHT_M, lift)[0], height * to_valve)
    except ValueError:
        width = usual
    reason = f"{reason}, which is {usual:g} at {SEAT_HEIGHT_M * 1e3:.1f} mm"
    card.findings.assume(f"{card.table}.duration", f"{width:.1f} deg crank", reason)
    return width, height


def _missing_height(
    given: Mapping[str, Any], duration: float, lift: float, to_valve: float, card: Card
) -> float:
    """Checking height where the card names none; says what a wrong guess changes."""
    lash = given.get("lash", 0.0)
    height, reason = SEAT_HEIGHT_M, "the card names none"
    if lash > 0:
        height, reason = lash, "the card names none: the valve leaves its seat as lash is used up"
    shown = f"{height / to_valve * 1e3:.3g} mm"
    card.findings.assume(f"{card.table}.checking_height", shown, reason)
    if "lobe_lift" in given and "checked_at" not in given:
        card.findings.assume(f"{card.table}.checked_at", "valve", "goes with that height")
    widths = _widths_if(duration, lift, {shown: height, **CARD_HEIGHTS})
    if shown in widths:
        taken = widths.pop(shown)
        others = ", ".join(
            f"{width:.0f} if at {label}"
            for label, width in widths.items()
            if abs(width - taken) >= 0.5
        )
        text = (
            f"missing; at which lift does the card count? {shown} is taken, which makes "
            f"{taken:.0f} deg crank at 0.1 mm, lash not taken off. A wrong guess changes that: "
            f"{others}"
        )
        card.findings.ask(f"{card.place} checking_height", text)
    return float(height / to_valve)


def _widths_if(duration: float, lift: float, heights: Mapping[str, float]) -> dict[str, float]:
    """Duration at 0.1 mm of the lobes that have ``duration`` at each of the heights."""
    widths = {}
    for label, height in heights.items():
        try:
            lobe, _ = lobe_from_card(duration, height, lift)
        except ValueError:
            continue
        widths[label] = lobe_width(lobe, SEAT_HEIGHT_M)
    return widths


def lobe_width(lobe: Lobe, height_m: float) -> float:
    """Crank degrees for which a lobe's lift is above ``height_m``, lash not taken off."""
    top = int(np.argmax(lobe.lift_m))
    up, down = lobe.lift_m[: top + 1], lobe.lift_m[top:]
    opens = np.interp(height_m, up, lobe.angle_deg[: top + 1])
    closes = np.interp(height_m, down[::-1], lobe.angle_deg[top:][::-1])
    return float(closes - opens)
