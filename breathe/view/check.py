"""The mechanical check as a page: a table a subject, and what is the same at every setting once."""

from __future__ import annotations

import csv
import io
import textwrap
from collections.abc import Sequence
from dataclasses import fields

from breathe.engine.parts import Engine, Side
from breathe.engine.quantities import System
from breathe.study.checks.check import Check
from breathe.study.checks.line import Line, Topic
from breathe.study.checks.stand import SIDES, mechanics_of
from breathe.view import cautions
from breathe.view.check_clearance import clearances, tolerance_words
from breathe.view.check_contrast import contrast
from breathe.view.check_figures import alike, in_units, limit, quantity, settings_text
from breathe.view.check_found import last_line, what_was_found
from breathe.view.check_surge import surge
from breathe.view.console import Grid, Item, Piece

SECTIONS = ("clearance", "springs", "surge", "contact", "sleeve", "contrast")
"""What may stand after ``--show``, in printing order."""
_HEADING_WIDTH = 24
_LEFT_OUT = (
    "Left out: gas force on the valve head, which the exhaust lobe has to open against; friction; "
    "valve springs that surge. Loads are of one valve: two on one follower double the lobe's."
)


def check_page(
    found: Check, show: Sequence[str] = SECTIONS, system: System = "metric"
) -> list[Piece]:
    """The page of one check.

    Parameters
    ----------
    found : Check
    show : sequence of str
        Some of `SECTIONS`; what was found and what was not checked always ends the page.
    system : 'metric' or 'imperial'
    """
    page: list[Piece] = [*_head(found), ""]
    sections = {
        "clearance": clearances,
        "springs": _springs,
        "surge": surge,
        "contact": _contact,
        "sleeve": _sleeve,
        "contrast": contrast,
    }
    for name in SECTIONS:
        if name in show:
            page += sections[name](found, system)
    page += _questions(found, system)
    return [*page, *what_was_found(found, system), Item(last_line(found, system))]


def _head(found: Check) -> list[Piece]:
    engine = found.engine
    source = f" ({engine.source_file})" if engine.source_file else ""
    labels = [setting.label for setting in found.settings if setting.label not in found.ends]
    ends = f"; {_what_ends(engine)} beside them: {', '.join(found.ends)}" if found.ends else ""
    page: list[Piece] = [
        f"{engine.name}{source}: will anything touch, will the springs hold, does it fit",
        Item(f"Settings: {', '.join(labels)}{ends}", indent=2),
        Item(
            f"Speeds: limit {found.speeds.limit_rpm:.0f} rpm, a missed shift to "
            f"{found.speeds.over_rpm:.0f} rpm",
            indent=2,
        ),
        Item(f"Tolerance cases: {tolerance_words(mechanics_of(engine).tolerances)}", indent=2),
    ]
    made_up = [
        side
        for side, cam in (("intake", engine.intake_cam), ("exhaust", engine.exhaust_cam))
        if cam.lobe.made_from.startswith("cam card")
    ]
    if made_up:
        text = (
            f"Lobe shape ({' and '.join(made_up)}): a fit through the cam card's few figures. "
            "Gaps near TDC hang on it; acceleration, spring need, contact and seating are no "
            "better than a guess of flank and nose. A measured lift sheet (lift_file) settles them."
        )
        page.append(Item(text, indent=2))
    return page


def _what_ends(engine: Engine) -> str:
    """What ends of the gear were added, and how their labels read."""
    cams = (engine.intake_cam, engine.exhaust_cam)
    sleeves = sum(cam.sleeve is not None for cam in cams)
    phasers = sum(cam.phaser is not None for cam in cams)
    things = ["travel"] * (sleeves > 0) + ["turn (crank degrees, - is earlier)"] * (phasers > 0)
    told = f"ends of {' and '.join(things)}"
    return told + (", intake/exhaust," if max(sleeves, phasers) > 1 else "")


def _springs(found: Check, system: System) -> list[Piece]:
    page: list[Piece] = []
    for side in SIDES:
        page += _items(found, ("spring",), f"{side.capitalize()} springs, one valve", side, system)
        spring = mechanics_of(found.engine).of(side).spring
        if spring is not None and spring.mass_kg is None and found.about("spring", side):
            text = (
                f"The coils' own mass is not given ([{side}.spring] mass), so a little more force "
                "is needed than said."
            )
            page.append(Item(text, indent=2))
        page.append("")
    notes = [_LEFT_OUT, cautions.MISSED_SHIFT.format(limit=found.speeds.limit_rpm)]
    page += _rules(found, ("spring",), system)
    return [*page, *(Item(text) for text in (*notes, cautions.HAND_WORK)), ""]


def _contact(found: Check, system: System) -> list[Piece]:
    page: list[Piece] = []
    for side in SIDES:
        follower = mechanics_of(found.engine).of(side).follower
        kind = f" ({follower.kind}, {follower.materials})" if follower else ""
        title = f"{side.capitalize()} lobe, follower{kind} and seat"
        page += [*_items(found, ("contact", "seating"), title, side, system), ""]
    rules = _rules(found, ("contact", "seating"), system)
    return [*page, *rules, ""] if rules else page


def _sleeve(found: Check, system: System) -> list[Piece]:
    page: list[Piece] = []
    for side in SIDES:
        cam = found.engine.intake_cam if side == "intake" else found.engine.exhaust_cam
        if cam.sleeve is None:
            continue
        title = f"{side.capitalize()} sleeve, one valve on its lobe"
        page += [*_items(found, ("sleeve",), title, side, system), ""]
        title = f"{side.capitalize()} sleeve: room along the shaft and in the cycle"
        page += [*_items(found, ("room",), title, side, system), *_fitting(found, side), ""]
    if not page:
        return []
    return [*page, *_rules(found, ("sleeve", "room"), system), Item(cautions.ACTUATOR), ""]


def _fitting(found: Check, side: Side) -> list[Piece]:
    """Which settings fit along the shaft, and which do not."""
    lines = [line for line in found.about("room") if line.setting and line.side in (side, None)]
    known = [setting.label for setting in found.settings]
    page: list[Piece] = []
    for verdict, words in (("fits", "Fit along the shaft"), ("does not fit", "Do not fit")):
        labels = [line.setting or "" for line in lines if line.verdict == verdict]
        if labels:
            page.append(Item(f"{words}: {settings_text(labels, known)}.", indent=2))
    return page


def _items(
    found: Check, topics: Sequence[Topic], title: str, side: Side, system: System
) -> list[Piece]:
    """A table of what was worked out: how much, where, by which limit; settings that agree once."""
    lines = [line for topic in topics for line in found.about(topic, side)]
    # Whether each setting's travel fits is told in a sentence.
    lines = [line for line in lines if not (line.topic == "room" and line.setting)]
    if not lines:
        return [Item(f"{title}: NOT CHECKED ({_why(found, topics, side)}).")]
    known = [setting.label for setting in found.settings]
    groups: dict[str, list[tuple[str, ...]]] = {}
    for settings, line in alike(lines, lambda line: _cells(line, system), known):
        groups.setdefault(settings, []).append(_cells(line, system))
    if set(groups) <= {"every", ""}:
        rows = [cells for group in groups.values() for cells in group]
        if "every" in groups:
            title += "; the same at every setting, since lift and flanks do not change"
    else:
        rows = [
            row
            for settings, group in sorted(groups.items(), key=lambda pair: pair[0] != "every")
            for row in (
                *((line, *[""] * 4) for line in _heading(settings)),
                *((f"  {cells[0]}", *cells[1:]) for cells in group),
            )
        ]
    return [
        Grid(
            title=title,
            header=("", "value", "where", "limit", "verdict"),
            rows=tuple(rows),
            left=frozenset({0, 2, 3, 4}),
            folds=frozenset({2, 4}),
        )
    ]


def _heading(settings: str) -> list[str]:
    """What settings a part of a table holds for, in lines that do not widen its first column."""
    return textwrap.wrap(f"{settings}{' setting' if settings == 'every' else ''}:", _HEADING_WIDTH)


def _why(found: Check, topics: Sequence[Topic], side: Side) -> str:
    notes = [line.note for line in found.not_checked if line.topic in topics and line.side == side]
    return "; ".join(dict.fromkeys(notes)) or "no setting stands"


def _rules(found: Check, topics: Sequence[Topic], system: System) -> list[Piece]:
    """Where the limits of a section come from, each once."""
    rules = dict.fromkeys(
        line.rule
        for topic in topics
        for line in found.about(topic)
        if line.rule and not (line.topic == "room" and line.setting)
    )
    told = (in_units(rule, system) for rule in rules)
    return [Item(f"{'Room' if 'bearing faces' in rule else 'Rule'}: {rule}.") for rule in told]


def _cells(line: Line, system: System) -> tuple[str, ...]:
    value = "" if line.value is None else quantity(line.value, line.unit, system)
    words: list[str] = [] if line.verdict == "told" else [line.verdict]
    if line.note and line.verdict not in ("question", "undercut", "jams"):
        words.append(in_units(line.note, system))
    where = in_units(line.where, system)
    return line.item, value, where, limit(line, system), ", ".join(words)


def _questions(found: Check, system: System) -> list[Piece]:
    asked = [*found.engine.questions, *found.questions]
    if not asked:
        return []
    told = (Item(in_units(one, system), indent=2) for one in asked)
    return ["Questions", *told, ""]


def check_csv(found: Check) -> str:
    """All lines as a tidy table, SI, full precision."""
    names = [field.name for field in fields(Line)]
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(names)
    for line in found.lines:
        values = (getattr(line, name) for name in names)
        writer.writerow("" if value is None else value for value in values)
    return out.getvalue()
