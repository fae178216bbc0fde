"""The cam settings a file asks to compare, and the one they are compared with."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from breathe.engine.cams import ReadCam
from breathe.engine.findings import Findings
from breathe.engine.network import nearest
from breathe.engine.parts import Cam, Setting, Side, Sleeve

LONGEST_LABEL = 10
_FILLED_STEPS = 5
_STRETCH_DEG = 20.0
_BEYOND_DEG = 1.0
"""Crank degrees by which a duration asked for may lie beyond the sleeve's: of a duration nobody
knows more (common practice, no source)."""
_SAME_END_DEG = 0.5
"""A duration as near to an end of a measured lobe's travel as this is that end."""
_SIDES: tuple[Side, Side] = ("intake", "exhaust")


@dataclass(frozen=True, slots=True)
class Move:
    """How one side's cam stands in a setting."""

    travel_m: float = 0.0
    shift_deg: float = 0.0
    stretch: float = 1.0
    cam_name: str | None = None
    title: str = ""
    """A label if the user gives none."""


@dataclass(slots=True)
class Cams:
    """The engine's own cams and the named others; a faulty one is missing."""

    own: dict[Side, ReadCam] = field(default_factory=dict)
    others: dict[str, tuple[Side, ReadCam | None]] = field(default_factory=dict)


def build_settings(
    values: Mapping[str, Any], cams: Cams, findings: Findings
) -> tuple[tuple[Setting, ...], str]:
    """Settings without repeats, and the label of the standard one."""
    rows = values.get("setting", [])
    settings: list[Setting] = []
    seen: dict[tuple[Any, ...], str] = {}
    merged: dict[str, str] = {}
    for row in rows:
        moves = {side: _move(row, side, cams, findings) for side in _SIDES}
        label = row.get("label") or _title(moves)
        whole = all(m is not None for m in moves.values())
        same = seen.get(_sameness(moves)) if whole else None
        if same is not None:
            findings.note(row["place"], f'the same cam setting as "{same}"; the two are merged')
            merged[label] = same
            continue
        if not _label_fits(row, label, settings, findings) or not whole:
            continue
        seen[_sameness(moves)] = label
        settings.append(_setting(label, moves, cams))
    if not rows:
        settings = _filled_in(cams, findings)
    return tuple(settings), _standard(values, settings, merged, findings)


def _title(moves: Mapping[Side, Move | None]) -> str:
    titles = [m.title for m in moves.values() if m and m.title]
    return "/".join(titles) or "own"


def _sameness(moves: Mapping[Side, Move | None]) -> tuple[Any, ...]:
    return tuple(
        (round(m.travel_m, 7), round(m.shift_deg, 4), round(m.stretch, 6), m.cam_name)
        for m in moves.values()
        if m
    )


def _label_fits(
    row: Mapping[str, Any],
    label: str,
    settings: list[Setting],
    findings: Findings,
) -> bool:
    """Whether a label is short and not that of another setting; else the fault is noted."""
    place = row["place"]
    if len(label) > LONGEST_LABEL:
        text = f'found "{label}"; expected at most {LONGEST_LABEL} letters'
        findings.fault(f"{place} label", text)
        return False
    if label in {s.label for s in settings}:
        findings.fault(f"{place} label", f'"{label}" is used twice, for different settings')
        return False
    return True


def _setting(label: str, moves: Mapping[Side, Move | None], cams: Cams) -> Setting:
    intake, exhaust = moves["intake"] or Move(), moves["exhaust"] or Move()
    return Setting(
        label=label,
        intake_travel_m=intake.travel_m,
        exhaust_travel_m=exhaust.travel_m,
        intake_shift_deg=intake.shift_deg,
        exhaust_shift_deg=exhaust.shift_deg,
        intake_stretch=intake.stretch,
        exhaust_stretch=exhaust.stretch,
        intake_cam=_swapped(intake, cams),
        exhaust_cam=_swapped(exhaust, cams),
    )


def _swapped(move: Move, cams: Cams) -> Cam | None:
    if move.cam_name is None:
        return None
    read = cams.others[move.cam_name][1]
    return read.cam if read else None


def _move(row: Mapping[str, Any], side: Side, cams: Cams, findings: Findings) -> Move | None:
    """One side of a setting, or None after noting why it cannot be (or must wait)."""
    given: Mapping[str, Any] = row.get(side, {})
    faults = len(findings.faults)
    place = f"{row['place']} {side}"
    ways = [k for k in ("duration", "added", "travel") if k in given]
    if len(ways) > 1:
        findings.fault(place, f"found {' and '.join(ways)}; give one of them")
    name = given.get("cam")
    if name is not None:
        if ways:
            findings.fault(place, f"a swapped cam has no sleeve; leave out {ways[0]}")
        _check_other(name, side, place, cams, findings)
    if len(findings.faults) > faults:
        return None
    if side not in cams.own or (name is not None and cams.others[name][1] is None):
        return None
    travel, title = (
        _travel(given, ways[0], cams.own[side], side, place, findings)
        if ways
        else (
            0.0,
            "",
        )
    )
    if len(findings.faults) > faults:
        return None
    stretch = given.get("stretch", 1.0)
    shift = given.get("shift", 0.0)
    title = title or name or (f"x{stretch:.3g}" if stretch != 1 else "")
    title = title or (f"{shift:+.3g}°" if shift else "")
    return Move(travel, shift, stretch, name, title)


def _check_other(name: str, side: Side, place: str, cams: Cams, findings: Findings) -> None:
    if name not in cams.others:
        known = nearest(name, cams.others) if cams.others else "the file has no [[other_cam]]"
        findings.fault(f"{place}.cam", f'found "{name}"; {known}')
    elif cams.others[name][0] != side:
        findings.fault(f"{place}.cam", f'"{name}" is an {cams.others[name][0]} cam')


def _travel(
    given: Mapping[str, Any], way: str, own: ReadCam, side: Side, place: str, findings: Findings
) -> tuple[float, str]:
    """Sleeve travel [m] and a label for it."""
    sleeve = own.cam.sleeve
    place = f"{place}.{way}"
    if sleeve is None:
        if way == "duration" and abs(given[way] - own.duration_deg) < 1e-6:
            return 0.0, f"{own.duration_deg:.0f}°"
        text = f"needs a sleeve; the file has no [{side}.sleeve] (a longer ground lobe is stretch)"
        findings.fault(place, text)
        return 0.0, ""
    if way == "travel" and not sleeve.law_known:
        findings.fault(place, f"needs rate in [{side}.sleeve]; or give added, in degrees")
        return 0.0, ""
    if way == "travel":
        travel, title = given["travel"], f"{given['travel'] * 1e3:.1f}mm"
    elif way == "added":
        travel, title = given["added"] / sleeve.crank_deg_per_m, f"+{given['added']:.4g}°"
    else:
        travel = (given["duration"] - own.duration_deg) / sleeve.crank_deg_per_m
        travel = _at_an_end(travel, own, sleeve, place, findings)
        title = f"{given['duration']:.4g}°"
    if travel < -1e-9:
        at = f"{own.duration_deg:.4g} deg crank at {own.checking_height_m * 1e3:g} mm"
        findings.fault(place, f"shorter than the sleeve's {at} at travel 0")
    elif travel > sleeve.travel_max_m * (1 + 1e-9):
        text = f"needs {travel * 1e3:.1f} mm, the sleeve has {sleeve.travel_max_m * 1e3:.1f} mm"
        if not sleeve.law_known:
            needs, has = (x * sleeve.crank_deg_per_m for x in (travel, sleeve.travel_max_m))
            text = f"needs {needs:.4g} deg crank of dwell, the sleeve's range is {has:.4g}"
        findings.fault(place, text)
    return max(travel, 0.0), title


def _at_an_end(
    travel_m: float, own: ReadCam, sleeve: Sleeve, place: str, findings: Findings
) -> float:
    """The end of the sleeve's travel a duration is meant to be, or the travel as it is."""
    measured = own.cam.lobe.made_from.startswith("measured")
    for end in (0.0, sleeve.travel_max_m):
        beyond = (travel_m - end) * (1 if end else -1) * sleeve.crank_deg_per_m
        exact = abs(beyond) < 1e-4
        if exact or not (-_SAME_END_DEG if measured else 0.0) <= beyond <= _BEYOND_DEG:
            continue
        has = own.duration_deg + end * sleeve.crank_deg_per_m
        at = f"{end * 1e3:g} mm" if sleeve.law_known else f"{end * sleeve.crank_deg_per_m:g} deg"
        of = "travel" if sleeve.law_known else "dwell"
        text = (
            f"{abs(beyond):.2g} deg {'shorter' if (beyond > 0) != (end > 0) else 'longer'} than "
            f"the {has:.1f} deg crank at {own.checking_height_m * 1e3:g} mm that the sleeve has at "
            f"{at}: taken as {at} of {of}"
        )
        findings.note(place, text)
        return end
    return travel_m


def _filled_in(cams: Cams, findings: Findings) -> list[Setting]:
    """Settings worth comparing where the file asks for none: places of what moves."""
    if "intake" not in cams.own:
        return []
    sleeved = [side for side in _SIDES if side in cams.own and cams.own[side].cam.sleeve]
    phased = [side for side in _SIDES if side in cams.own and cams.own[side].cam.phaser]
    if sleeved:
        settings, what = _along_sleeve(cams.own[sleeved[0]], sleeved[0])
    elif phased:
        settings, what = _turned(cams.own[phased[0]], phased[0])
    else:
        settings, what = _ground(cams.own["intake"])
    findings.assume(
        "setting", ", ".join(s.label for s in settings), f"the file asks for none; {what}"
    )
    return settings


def _along_sleeve(own: ReadCam, side: Side) -> tuple[list[Setting], str]:
    sleeve = own.cam.sleeve
    assert sleeve is not None
    step = sleeve.travel_max_m / _FILLED_STEPS
    moves = [
        Move(k * step, title=f"{own.duration_deg + k * step * sleeve.crank_deg_per_m:.4g}°")
        for k in range(_FILLED_STEPS + 1)
    ]
    return _on(side, moves), f"equal steps of the {side} sleeve's travel"


def _turned(own: ReadCam, side: Side) -> tuple[list[Setting], str]:
    phaser = own.cam.phaser
    assert phaser is not None
    ends = phaser.earliest_deg, phaser.latest_deg
    shifts = sorted({0.0, *ends, *(end / 2 for end in ends)})
    moves = [Move(shift_deg=x, title=f"{x:+.3g}°" if x else "own") for x in shifts]
    return _on(side, moves), f"ends and middles of the {side} phaser's turn"


def _ground(own: ReadCam) -> tuple[list[Setting], str]:
    moves = [
        Move(stretch=1 + x / own.duration_deg, title=f"{x:+g}°" if x else "own")
        for x in (-_STRETCH_DEG, 0.0, _STRETCH_DEG)
    ]
    return _on("intake", moves), "it has no sleeve: the intake lobe ground shorter, longer"


def _on(side: Side, moves: Sequence[Move]) -> list[Setting]:
    """One side moved, the other as it is."""
    none = Cams()
    return [_setting(move.title, {"intake": Move(), "exhaust": Move(), side: move}, none)
            for move in moves]  # fmt: skip


def _standard(
    values: Mapping[str, Any],
    settings: list[Setting],
    merged: Mapping[str, str],
    findings: Findings,
) -> str:
    labels = [s.label for s in settings]
    wanted = values.get("engine", {}).get("standard")
    wanted = merged.get(wanted, wanted)
    if wanted in labels or not labels:
        return str(wanted or "")
    if wanted is not None:
        rows = [row["label"] for row in values.get("setting", []) if "label" in row]
        if wanted not in rows:
            text = f'found "{wanted}"; {nearest(wanted, labels)}'
            findings.fault("[engine] standard", text)
        return ""
    usual = [s for s in labels if s.lower() in ("standard", "std", "own")]
    standard = usual[0] if usual else labels[0]
    reason = "the setting others are compared with"
    findings.assume("engine.standard", standard, reason)
    return standard
