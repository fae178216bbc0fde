"""Clearances of the mechanical check as tables: a row for settings whose figures agree."""

from __future__ import annotations

from collections.abc import Sequence

from breathe.engine.mechanics import Tolerances
from breathe.engine.parts import Side
from breathe.engine.quantities import System
from breathe.study.checks.check import Check
from breathe.study.checks.line import FAILS, Line
from breathe.study.checks.stand import SIDES
from breathe.view import cautions
from breathe.view.check_figures import length, quantity, settings_text
from breathe.view.console import Grid, Item, Piece
from breathe.view.unit_text import in_user_units

_HEADS = {
    "as given": "as\nset",
    "no lash": "no\nlash",
    "cam early": "cam\nearly",
    "cam early, no lash": "early,\nno lash",
    "cam late": "cam\nlate",
    "cam late, no lash": "late,\nno lash",
}
_FIRST = frozenset({0})


def clearances(found: Check, system: System) -> list[Piece]:
    """Valve to piston of both sides, valve to valve, the rule they go by, and the caution."""
    page: list[Piece] = []
    for side in SIDES:
        page += _piston(found, side, system)
    page += _valves(found, system)
    rules = dict.fromkeys(line.rule for line in found.lines if line.topic.startswith("valve"))
    page += [Item(f"Rule: {in_user_units(rule, system)}.") for rule in rules if rule]
    wall = [line for line in found.not_checked if line.item.startswith("head to wall")]
    note = in_user_units(wall[0].note, system)
    page.append(Item(f"Head to wall of the pocket, sideways: NOT CHECKED ({note})."))
    return [*page, Item(cautions.HAND_TURN), ""]


def _by_setting(lines: Sequence[Line]) -> dict[str, list[Line]]:
    """Tolerance cases of each setting, in order."""
    found: dict[str, list[Line]] = {}
    for line in lines:
        found.setdefault(line.setting or "", []).append(line)
    return found


def _worst(cases: Sequence[Line]) -> Line:
    return min(cases, key=lambda line: line.value or 0.0)


def _piston(found: Check, side: Side, system: System) -> list[Piece]:
    lines = found.about("valve to piston", side)
    name = f"{side.capitalize()} valve to piston"
    if not lines:
        return [Item(f"{name}: NOT CHECKED ({_why(found, 'valve to piston', side)})."), ""]
    cases = list(dict.fromkeys(line.case for line in lines))
    rows: dict[tuple[str, ...], list[str]] = {}
    for label, group in _by_setting(lines).items():
        by_case = {line.case: line for line in group}
        worst = _worst(group)
        cells = [length(by_case[case].value or 0.0, system) for case in cases]
        rows.setdefault((*cells, worst.where, worst.verdict), []).append(label)
    unit = "in" if system == "imperial" else "mm"
    title = (
        f"{name}, {unit} along the valve, least over 720 deg; rule: at least "
        f"{quantity(lines[0].limit or 0.0, 'm', system)}"
    )
    known = [setting.label for setting in found.settings]
    grid = Grid(
        title=title,
        header=("setting", *(_HEADS.get(case, case) for case in cases), "worst at", "verdict"),
        rows=tuple((settings_text(labels, known), *cells) for cells, labels in rows.items()),
        left=frozenset({0, len(cases) + 2}),
        folds=_FIRST,
    )
    return [grid, *_same(found, side, rows), *_failing(lines, known, system), ""]


def _same(found: Check, side: Side, rows: dict[tuple[str, ...], list[str]]) -> list[Piece]:
    """Why a sleeve's settings stand in one row, where the point near TDC is held."""
    cam = found.engine.intake_cam if side == "intake" else found.engine.exhaust_cam
    if cam.sleeve is None:
        return []
    moved = {
        setting.label
        for setting in found.settings
        if (setting.intake_travel_m if side == "intake" else setting.exhaust_travel_m) > 0.0
    }
    held = cam.sleeve.closing_share == (1.0 if side == "intake" else 0.0)
    together = max((len(moved & set(labels)) for labels in rows.values()), default=0)
    if not held or together < 2:
        return []
    point, away = ("opening", "later") if side == "intake" else ("closing", "earlier")
    text = f"The same at each travel: the {point} point is held, and dwell opens {away} than this."
    return [Item(text, indent=2)]


def _failing(lines: Sequence[Line], known: Sequence[str], system: System) -> list[Piece]:
    """What is not to be built, with the case that makes it so."""
    groups: dict[str, list[str]] = {}
    least = quantity(lines[0].limit or 0.0, "m", system)
    for label, group in _by_setting(lines).items():
        worst = _worst(group)
        if worst.verdict not in FAILS:
            continue
        bad = [group[0]] if group[0].verdict in FAILS else []
        bad += [worst] if worst is not group[0] else []
        gaps = ", ".join(f"{quantity(one.value or 0.0, 'm', system)} {_when(one)}" for one in bad)
        told = f"{worst.verdict}: {gaps}; at least {least}: do not build."
        groups.setdefault(told, []).append(label)
    return [
        Item(f"{settings_text(labels, known)} {told}", indent=2) for told, labels in groups.items()
    ]


def _when(line: Line) -> str:
    return "as set" if line.case == "as given" else f"with {line.case}"


def _valves(found: Check, system: System) -> list[Piece]:
    lines = found.about("valve to valve")
    if not lines:
        return [Item(f"Valve to valve: NOT CHECKED ({_why(found, 'valve to valve', None)})."), ""]
    known = [setting.label for setting in found.settings]
    groups = _by_setting(lines)
    cases = list(dict.fromkeys(_worst(group).case for group in groups.values()))
    rows: dict[tuple[str, ...], list[str]] = {}
    for label, group in groups.items():
        overlap = f"{round(found.overlap_deg[label])}"
        rows.setdefault((overlap, *_valve_cells(group, cases, system)), []).append(label)
    unit = "in" if system == "imperial" else "mm"
    title = (
        f"Valve to valve, {unit} between the heads, least over 720 deg; rule: at least "
        f"{quantity(lines[0].limit or 0.0, 'm', system)}; overlap in crank degrees at 0.1 mm"
    )
    several = len(cases) > 1
    with_case = ("with",) if several else ()
    grid = Grid(
        title=in_user_units(title, system),
        header=("setting", "overlap", "as set", "at", "worst", "at", *with_case, "verdict"),
        rows=tuple((settings_text(labels, known), *cells) for cells, labels in rows.items()),
        left=frozenset({0, 6, 7}),
        folds=frozenset({0, 6} if several else {0}),
    )
    told = [] if several else [Item(f"Worst with {cases[0]}.", indent=2)]
    return [grid, *told, *_failing(lines, known, system), ""]


def _valve_cells(group: Sequence[Line], cases: Sequence[str], system: System) -> tuple[str, ...]:
    """As set and worst, and with which tolerance if that is not the same for all."""
    worst, first = _worst(group), group[0]
    return (
        length(first.value or 0.0, system),
        first.where,
        length(worst.value or 0.0, system),
        worst.where,
        *((worst.case,) if len(cases) > 1 else ()),
        worst.verdict,
    )


def _why(found: Check, topic: str, side: Side | None) -> str:
    notes = [line.note for line in found.not_checked if line.topic == topic and line.side == side]
    return notes[0] if notes else "no setting stands"


def tolerance_words(built: Tolerances) -> str:
    """What the tolerance cases are."""
    slack = f", a slack chain {built.chain_slack_deg:g} deg later still"
    return (
        f"cam {built.cam_timing_deg:g} deg crank early and late"
        f"{slack if built.chain_slack_deg else ''}, lash as set and used up"
    )
