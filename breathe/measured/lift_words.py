"""Words, units and cells of lift sheets: what a heading names and what a cell says.

English and German, as the trade writes them on the bench: KW is the crankshaft and NW the camshaft,
OT and UT are top and bottom dead centre, v. and n. are before and after.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from breathe.engine.parts import Side
from breathe.measured.numbers import number

Wheel = Literal["cam", "crank"]
Zero = Literal["firing", "overlap", "nose", "arbitrary"]

LIFT_UNITS_M = {"mm": 1e-3, "in": 0.0254, "thou": 25.4e-6, "µm": 1e-6}
_LIFT_SPELLINGS = {
    "mm": "mm",
    "millimeter": "mm",
    "millimetre": "mm",
    "in": "in",
    "inch": "in",
    "inches": "in",
    "zoll": "in",
    '"': "in",
    "thou": "thou",
    "thousandths": "thou",
    "mil": "thou",
    "mils": "thou",
    "µm": "µm",
    "μm": "µm",
    "um": "µm",
    "micron": "µm",
    "microns": "µm",
}
_CAM = {"cam", "camshaft", "nw", "°nw", "nockenwelle", "nockenwinkel", "nockenwellenwinkel"}
_CRANK = {"crank", "crankshaft", "kw", "°kw", "kurbelwelle", "kurbelwinkel", "ca", "cad", "°ca"}
_CRANK |= {"kurbelwellenwinkel", "kwh"}
_ANGLE = {"angle", "winkel", "deg", "degs", "degree", "degrees", "grad", "position", "pos", "wheel"}
_ANGLE |= {"°", "theta", "phi", "teilscheibe", "gradscheibe", "rotation", "tdc", "ot"}
_LIFT = {"lift", "hub", "ventilhub", "nockenhub", "stößelhub", "stoesselhub", "erhebung", "dial"}
_LIFT |= {"indicator", "gauge", "gage", "messuhr", "rise", "lobe", "nocke", "reading", "clock"}
_AT_LOBE = {"lobe", "nockenhub", "cam"}
_SIDES: dict[str, Side] = {
    "int": "intake",
    "intake": "intake",
    "inlet": "intake",
    "ein": "intake",
    "einlass": "intake",
    "einlaß": "intake",
    "exh": "exhaust",
    "exhaust": "exhaust",
    "ex": "exhaust",
    "aus": "exhaust",
    "auslass": "exhaust",
    "auslaß": "exhaust",
}
_RISING = {"up", "auf", "steigend", "rising", "forward"}
_FALLING = {"down", "ab", "fallend", "falling", "back", "backward"}
_NOT_LIFT = {
    "note",
    "notes",
    "bemerkung",
    "remark",
    "remarks",
    "comment",
    "temp",
    "time",
    "no",
    "nr",
}
_NOT_LIFT |= {"row", "flow", "cfm", "rpm", "torque", "power", "smoothed", "difference", "velocity"}
_NOT_LIFT |= {"speed", "drehzahl", "drehmoment", "leistung", "nm", "hp", "ps", "afr", "map", "kpa"}
WRITTEN_ANGLE, WRITTEN_LIFT = "angle from {} [deg crank]", "valve lift [mm]"
"""Headings of a curve that `breathe lobe` wrote."""
_ZERO_WORDS: tuple[tuple[Zero, str], ...] = (
    ("firing", r"firing\s*tdc|ignition\s*tdc|z(?:ü|ue)nd-?\s*ot|\bzot\b"),
    (
        "overlap",
        r"overlap\s*tdc|gas.exchange\s*tdc|(?:ü|ue)berschneidungs-?\s*ot|\bgot\b|\blw-?ot\b",
    ),
    ("nose", r"from\s+(?:the\s+)?nose|nose\s*=?\s*0|0\s*=\s*nose"),
)

_CELL = re.compile(r"(?P<number>[-+−]?[0-9.,]*[0-9][.,]?(?:[eE][-+]?[0-9]+)?)\s*(?P<rest>.*)", re.S)
_CENTRE = re.compile(
    r"(?:deg(?:rees)?|°|grad)?\s*(?:crank|kw)?\s*(?P<way>before|after|vor|nach|[bavn])?"
    r"[\s.]*(?P<centre>t\.?d\.?c|b\.?d\.?c|o\.?t|u\.?t)\.?",
    re.I,
)
_ANGLE_TAIL = re.compile(r"(?:deg(?:rees)?|°|grad)?\s*(?P<wheel>cam|crank|nw|kw)?\.?", re.I)


@dataclass(frozen=True, slots=True, kw_only=True)
class Heading:
    """What the heading of one column says."""

    text: str
    kind: Literal["angle", "lift", "other", ""]
    """'' where it says nothing we know."""
    unit: str = ""
    """Of lift: a key of ``LIFT_UNITS_M``."""
    wheel: Wheel | None = None
    side: Side | None = None
    sweep: Literal["up", "down", ""] = ""
    at_lobe: bool = False
    at_valve: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class AngleCell:
    """One wheel reading as written."""

    deg: float
    """From the wheel's zero, or after ``centre``; negative is before it."""
    centre: Literal["TDC", "BDC", ""] = ""
    wheel: Wheel | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LiftCell:
    """One dial reading as written."""

    value: float
    unit: str = ""
    """A key of ``LIFT_UNITS_M``, or '' where the cell names none."""
    marked: bool = False
    """A star or question mark stands behind it."""


def read_heading(text: str) -> Heading:
    """Kind, unit, side and sweep that a heading names.

    Examples
    --------
    >>> read_heading("Winkel [°NW]").wheel, read_heading("int_A_mm").side
    ('cam', 'intake')
    >>> read_heading("lift in").unit, read_heading("in_mm").side
    ('in', 'intake')
    """
    words = re.findall(r"°?[a-zäöüßµμ]+|°|\"", text.lower())
    known = set(words)
    units = [_LIFT_SPELLINGS[word] for word in words if word in _LIFT_SPELLINGS]
    sides = [_SIDES[word] for word in words if word in _SIDES]
    if "in" in known and len(set(units)) > 1:  # 'in_mm' is the intake, in mm
        units = [unit for unit in units if unit != "in"]
        sides.append("intake")
    wheel: Wheel | None = "cam" if known & _CAM else "crank" if known & _CRANK else None
    angle = bool(known & (_ANGLE | _CAM | _CRANK))
    lift = bool(known & _LIFT) or (bool(units or sides) and not angle)
    if known & _NOT_LIFT:
        kind: Literal["angle", "lift", "other", ""] = "other"
    elif lift and not known & {"angle", "winkel"}:
        kind = "lift"
    else:
        kind = "angle" if angle else ""
    return Heading(
        text=text,
        kind=kind,
        unit=units[0] if units and kind == "lift" else "",
        wheel=wheel if kind == "angle" else None,
        side=sides[0] if sides and kind == "lift" else None,
        sweep="up" if known & _RISING else "down" if known & _FALLING else "",
        at_lobe=bool(known & _AT_LOBE) and kind == "lift",
        at_valve=bool(known & {"valve", "ventil", "ventilhub"}) and kind == "lift",
    )


def read_angle(text: str, decimal: str) -> AngleCell | None:
    """A wheel reading such as '22 BTDC', 'ATDC 10', '12 v. OT', 'TDC', '-66,0', '-66 °NW'.

    Examples
    --------
    >>> read_angle("22 BTDC", ".").deg, read_angle("62 n. UT", ".").centre
    (-22.0, 'BDC')
    """
    text = text.strip().strip("\"'").strip()
    match = _CENTRE.fullmatch(text)
    if match:
        return None if match["way"] else AngleCell(deg=0.0, centre=_centre(match["centre"]))
    before = re.fullmatch(r"(?P<words>[^\d+\-−]+?)\s*(?P<number>[-+−]?[\d.,]+)\s*(?:deg|°)?", text)
    if before and (match := _CENTRE.fullmatch(before["words"])):
        return _from_centre(number(before["number"], decimal), match)
    cell = _CELL.fullmatch(text)
    if cell is None:
        return None
    value = number(cell["number"], decimal)
    rest = cell["rest"].strip()
    if match := _CENTRE.fullmatch(rest):
        return _from_centre(value, match)
    tail = _ANGLE_TAIL.fullmatch(rest)
    if value is None or tail is None:
        return None
    named = (tail["wheel"] or "").lower()
    wheel: Wheel | None = "cam" if named in ("cam", "nw") else "crank" if named else None
    return AngleCell(deg=value, wheel=wheel)


def _from_centre(value: float | None, match: re.Match[str]) -> AngleCell | None:
    way = (match["way"] or "").lower()
    if value is None or (not way and value != 0):
        return None
    before = way[:1] in ("b", "v")
    return AngleCell(deg=-value if before else value, centre=_centre(match["centre"]))


def _centre(word: str) -> Literal["TDC", "BDC"]:
    return "TDC" if word[:1].lower() in ("t", "o") else "BDC"


def read_lift(text: str, decimal: str) -> LiftCell | None:
    """A dial reading such as '.027', '4 thou', '9,51 mm', '6.31*'.

    Examples
    --------
    >>> read_lift("4 thou", "."), read_lift("n/a", ".")
    (LiftCell(value=4.0, unit='thou', marked=False), None)
    """
    cell = _CELL.fullmatch(text.strip())
    if cell is None:
        return None
    rest = cell["rest"].strip().lower()
    marked = rest[-1:] in ("*", "?")
    rest = rest.rstrip("*?.! ").strip()
    value = number(cell["number"], decimal)
    if value is None or (rest and rest not in _LIFT_SPELLINGS):
        return None
    return LiftCell(value=value, unit=_LIFT_SPELLINGS.get(rest, ""), marked=marked)


def lift_unit(text: str) -> str | None:
    """The key of ``LIFT_UNITS_M`` that a user's word means, or None."""
    return _LIFT_SPELLINGS.get(text.strip().lower())


def side_named(text: str) -> Side | None:
    """The side that words such as a remark name, or None where they name none or both."""
    found = {_SIDES[word] for word in re.findall(r"[a-zäöüß]+", text.lower()) if word in _SIDES}
    return found.pop() if len(found) == 1 else None


def is_written_curve(angle: str, lift: str) -> bool:
    """Whether the headings are those of a curve that `breathe lobe` wrote.

    Examples
    --------
    >>> is_written_curve("angle from nose [deg crank]", "intake valve lift [mm]")
    True
    """
    angles = {WRITTEN_ANGLE.format(zero) for zero in ("firing TDC", "nose")}
    lifts = {side + WRITTEN_LIFT for side in ("", "intake ", "exhaust ")}
    return angle in angles and lift in lifts


def names_lash(text: str) -> bool:
    """Whether words name a running clearance.

    Examples
    --------
    >>> names_lash("hot lash .008"), names_lash("zero lash"), names_lash("splash")
    (True, False, False)
    """
    named = re.search(r"\blash\b|\b(?:valve|tappet) clearance\b|\bventilspiel\b", text, re.I)
    return bool(named) and not re.search(
        r"\b(?:zero|no|without|ohne|0)[\s-]+\w*\s*(?:lash|clear|ventilspiel)", text, re.I
    )


def zero_named(text: str) -> Zero | None:
    """What words say the wheel's zero is, or None."""
    for zero, pattern in _ZERO_WORDS:
        if re.search(pattern, text, re.I):
            return zero
    return None
