"""What the mechanical check found, worst first, what it left unchecked, and its last line."""

from __future__ import annotations

from breathe.engine.quantities import System
from breathe.study.checks.check import Check
from breathe.study.checks.line import FAILS, SOUND, WORST_FIRST, Line, rank, worst_of
from breathe.view.check_figures import in_units, limit, quantity, settings_text
from breathe.view.console import Item, Piece

_NOUNS = {
    "surge": "spring surge",
    "contact": "lobe and follower",
    "seating": "valve seat",
    "room": "sleeve",
}
"""Topics as sentences name them, where that is not the topic itself."""


def what_was_found(found: Check, system: System) -> list[Piece]:
    """Everything that asks for something to be done, worst first."""
    groups: dict[tuple[object, ...], list[Line]] = {}
    for line in found.lines:
        if line.verdict in WORST_FIRST and line.verdict not in ("NOT CHECKED", "question"):
            over = line.case == "over-speed"
            item = "" if line.topic in ("valve to piston", "valve to valve") else line.item
            groups.setdefault((line.topic, line.side, item, line.verdict, over), []).append(line)
    page: list[Piece] = ["What was found"]
    worst = [(worst_of(group) or group[0], group) for group in groups.values()]
    for line, group in sorted(worst, key=lambda pair: rank(pair[0])):
        page.append(Item(f"{line.verdict}: {_told(found, line, group, system)}", indent=2))
    if not groups:
        page.append(Item(_all_sound(found), indent=2))
    page += [
        Item(f"NOT CHECKED: {_unchecked(line)}: {in_units(line.note, system)}", indent=2)
        for line in found.not_checked
    ]
    return [*page, ""]


def last_line(found: Check, system: System) -> str:
    """The worst verdict, and how much was not checked."""
    left = len(found.not_checked)
    bad = [line for line in found.lines if line.verdict not in ("NOT CHECKED", "question")]
    line = worst_of(bad)
    if line is None:
        sound = _all_sound(found)
        return f"Worst: NOT CHECKED ({left}). {sound}"
    same = [
        one
        for one in bad
        if (one.topic, one.side, one.item, one.verdict)
        == (line.topic, line.side, line.item, line.verdict)
    ]
    told = _told(found, line, same, system)
    build = ": do not build" if line.verdict in FAILS and line.topic.startswith("valve") else ""
    return f"Worst: {line.verdict}: {told}{build}. NOT CHECKED: {left}."


def _told(found: Check, line: Line, group: list[Line], system: System) -> str:
    """A line and the settings it stands for."""
    known = [setting.label for setting in found.settings]
    labels = list(dict.fromkeys(one.setting for one in group if one.setting))
    text = _name(line)
    if line.value is not None:
        text += f" {quantity(line.value, line.unit, system)}"
    if line.where and line.topic.startswith("valve"):
        text += f" at {line.where}"
    if line.case and line.topic.startswith("valve") and line.case != "as given":
        text += f" with {line.case}"
    if line.limit is not None and line.value is not None:
        told = limit(line, system)
        text += f", {told}" if line.unit == "N" else f", at {told}"
        text += " in a missed shift" if line.case == "over-speed" else ""
    elif line.note:
        text += f", {in_units(line.note, system)}"
    if not labels or (len(labels) == len(known) and len(known) > 1):
        return f"{text} (every setting)" if labels else text
    at_worst = f", worst at {line.setting}" if len(labels) > 1 and _differ(group) else ""
    return f"{text} ({settings_text(labels, known)}{at_worst})"


def _all_sound(found: Check) -> str:
    """What to say where nothing asks for anything to be done."""
    if any(line.verdict in SOUND for line in found.lines):
        return "All that was checked is sound."
    return "Nothing could be judged: the engine file says too little of its mechanics."


def _unchecked(line: Line) -> str:
    return f"{line.side} {line.item}" if line.side else line.item


def _differ(group: list[Line]) -> bool:
    return len({f"{line.value:.3g}" for line in group if line.value is not None}) > 1


def _name(line: Line) -> str:
    """What a line is of: 'intake valve to piston', 'intake spring, needed at 7500 rpm'."""
    noun = _NOUNS.get(line.topic, line.topic)
    what = f"{line.side} {noun}" if line.side else noun
    if line.item == line.topic or (line.topic.startswith("valve") and line.value is not None):
        return what
    return f"{what}, {line.item}"
