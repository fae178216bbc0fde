"""Which value of an engine file a column of a plan means: whole keys, and names people type.

A whole key is the file's own path ("engine.compression_ratio", "pipe.intake runner.length").
Shorter: without the middle ("intake lift"), the last word alone where only one key ends in it
("bore"), a pipe or chamber by words of its name ("runner"), and a few words of the trade ("CR").
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from breathe.engine.keys import ENGINE_FILE, Key
from breathe.study.plans.events import CENTRELINE, EVENTS, FROM

Room = Literal["file", "setting", "case", "remark"]
"""Of the engine file itself, of the cam setting, of the operating point, or carried along."""

NO_KEY = "no key of the engine file"
_DEFAULT = {"pipe": "length", "chamber": "volume"}
"""What a pipe or chamber named alone means."""
_SIDES = ("intake", "exhaust")
_SPEED = Key("speed", "rpm", refuse=(100, 25_000))
_THROTTLE = Key("share", "%", refuse=(0.1, 100))
_WORDS = {
    "cr": "engine compression ratio",
    "compression": "engine compression ratio",
    "comp ratio": "engine compression ratio",
    "rod length": "engine rod",
    "limit": "engine speed limit",
    "rpm": "speed",
    "engine speed": "speed",
    "opening": "throttle",
    "icl": "intake centreline",
    "ecl": "exhaust centreline",
    "ivo": "intake opens",
    "ivc": "intake closes",
    "evo": "exhaust opens",
    "evc": "exhaust closes",
    "dur": "intake duration",
    "lift": "intake cam lift",
    "lash": "intake cam lash",
    "phase": "intake shift",
    "sleeve travel": "intake travel",
    "barometer": "air pressure",
    "humidity": "air relative humidity",
} | {word: f"intake {word}" for word in ("duration", "centreline", "travel", "added", "shift")}
"""What a tuner types, and the longer name it stands for; a cam named alone is the intake cam."""
_FOLLOWS = {
    "lobe separation": "their mean is the lobe separation",
    "lsa": "their mean is the lobe separation",
    "lobe centre angle": "their mean is the lobe separation",
    "lca": "their mean is the lobe separation",
    "overlap": "overlap follows from them and the durations; or give IVO and EVC",
}
"""What follows from the cams and is no key, and what to give instead."""
_REMARKS = frozenset(("#", "no", "nr", "number", "id", "row", "name", "label", "case")) | frozenset(
    ("note", "notes", "remark", "remarks", "comment", "comments")
)
_SPELLED = {
    "inlet": "intake",
    "int": "intake",
    "exh": "exhaust",
    "centerline": "centreline",
    "center": "centre",
    "dia": "diameter",
    "runners": "runner",
    "primaries": "primary",
    "headers": "header",
}
_ALSO = {"primary": "header", "header": "primary", "airbox": "plenum", "plenum": "airbox"}
"""Parts that go by two names."""
_CHECK_ALONE = frozenset(
    ("spring", "train", "follower", "clearance", "shaft_room", "valve_pair", "tolerance")
)
"""Tables that only the mechanical check reads."""
_CHECKED_SLEEVE = frozenset(
    ("helix_radius", "friction", "axial_play", "circumferential_play", "splines", "spline_height")
) | {"spline_length", "shaft_diameter", "shaft_bore", "twisted_length"}
_OF_THE_RUN = frozenset(("name", "standard", "speed_limit"))


@dataclass(frozen=True, slots=True)
class Target:
    """What the cells of a column replace."""

    room: Room
    path: tuple[str, ...]
    rule: Key

    @property
    def shown(self) -> str:
        """As it is told to the user."""
        if self.room == "setting" and self.path[-1] == "centreline":
            return f"{self.path[0]} centreline: middle of the opening, the whole lift moved"
        if self.room == "setting" and self.path in FROM:
            return f"{self.path[0]} valve {self.path[1]}, {FROM[self.path][0]}"
        if self.path[0] in ("pipe", "chamber", "outside", "other_cam"):
            return f'{self.path[0]} "{self.path[1]}" {self.path[2]}'
        return ".".join(self.path)


def changes_nothing(target: Target) -> str:
    """Why the gas does not know of a key, or nothing."""
    path = target.path
    if target.room != "file" or path[0] in ("pipe", "chamber", "outside", "other_cam"):
        return ""
    sleeve = len(path) == 3 and path[1] == "sleeve" and path[2] in _CHECKED_SLEEVE
    if sleeve or _CHECK_ALONE & set(path[:2]):
        return "only `breathe check` reads it"
    if path[0] == "engine" and path[1] in _OF_THE_RUN:
        return "it decides what is run, not what comes of it"
    return ""


class NameFault(ValueError):
    """A column nobody can place; the text says what is near."""


def plain(text: str) -> str:
    """A name as it is compared: lower case, single spaces, one spelling.

    Examples
    --------
    >>> plain("Inlet.Cam.Centerline"), plain("compression_ratio")
    ('intake cam centreline', 'compression ratio')
    """
    words = re.split(r"[\s._/\-:]+", text.strip().lower().strip("\"'"))
    return " ".join(_SPELLED.get(word, word) for word in words if word)


class Names:
    """All columns a plan for one engine file may have."""

    def __init__(self, raw: Mapping[str, Any]) -> None:
        self._parts = list(_parts(raw))
        self._known: dict[str, list[Target]] = {}
        for target in (*_case_targets(), *_setting_targets()):
            self._add(plain(".".join(target.path)), target)
        for target in (*_file_targets(), *self._parts):
            for form in _forms(target):
                self._add(form, target)

    def _add(self, form: str, target: Target) -> None:
        """A setting's name keeps others off it."""
        held = self._known.setdefault(form, [])
        if not held or (held[0].room == "file" and target not in held):
            held.append(target)

    def find(self, name: str) -> Target:
        """The target of a column's name, without its unit.

        Raises
        ------
        NameFault
            None is meant, or several may be.
        """
        form = plain(name)
        if form in _REMARKS or not form:
            return Target("remark", (form,), Key("text"))
        found = self._known.get(form) or self._known.get(_WORDS.get(form, ""), [])
        found = found or self._by_words(form)
        if len(found) > 1:
            which = " or ".join(".".join(t.path) for t in found[:4])
            raise NameFault(f"may mean {which}; write one of these")
        if not found:
            raise NameFault(self._near(form))
        if found[0].rule.many == "list":
            raise NameFault("is a list in the engine file, which a cell cannot hold")
        return found[0]

    def listing(self) -> list[tuple[str, str, Target]]:
        """Every column that changes something: shortest name, what else people type, target."""
        short: dict[Target, list[str]] = {}
        for form, targets in self._known.items():
            if len(targets) == 1:
                short.setdefault(targets[0], []).append(form)
        typed: dict[Target, list[str]] = {}
        for word, form in _WORDS.items():
            for target in self._known.get(form, [])[:1]:
                typed.setdefault(target, []).append(word)
        found = []
        for target, forms in short.items():
            if target.rule.many != "list" and not changes_nothing(target):
                found.append((min(forms, key=len), ", ".join(typed.get(target, ())), target))
        return found

    def _by_words(self, form: str) -> list[Target]:
        """Parts whose name and key hold all the words; a part alone means its usual key."""
        for words in _readings(form):
            held = [t for t in self._parts if words <= _words(t) and words & _named(t)]
            usual = [t for t in held if t.path[2] == _DEFAULT.get(t.path[0])]
            named = [t for t in held if set(plain(t.path[2]).split()) & words]
            if named or usual:
                return named or usual
        return []

    def _near(self, form: str) -> str:
        if form in _FOLLOWS:
            return f"follows from the cams; give intake and exhaust centreline: {_FOLLOWS[form]}"
        by_part = {word: t for t in self._parts for word in (plain(t.path[1]), *_named(t))}
        near = difflib.get_close_matches(form, [*self._known, *_WORDS, *by_part], n=1, cutoff=0.55)
        start = NO_KEY
        if near and near[0] in by_part:
            return f'{start}; did you mean {near[0]} (of "{by_part[near[0]].path[1]}")?'
        if near:
            target = self._known[_WORDS.get(near[0], near[0])][0]
            return f"{start}; did you mean {near[0]} ({'.'.join(target.path)})?"
        return start

    @property
    def hint(self) -> str:
        """Where to look for the name of a column."""
        parts = dict.fromkeys(t.path[1] for t in self._parts if t.path[0] in _DEFAULT)
        named = f"; the file's parts are {', '.join(parts)}" if parts else ""
        return f"`breathe try ENGINE` lists all columns{named}"


def _readings(form: str) -> Iterator[set[str]]:
    words = set(form.split()) - {"pipe", "chamber"}
    yield words
    for word in words & _ALSO.keys():
        yield words - {word} | {_ALSO[word]}


def _words(target: Target) -> set[str]:
    return set(plain(f"{target.path[1]} {target.path[2]}").split())


def _named(target: Target) -> set[str]:
    return set(plain(target.path[1]).split())


def _case_targets() -> Iterator[Target]:
    yield Target("case", ("speed",), _SPEED)
    yield Target("case", ("throttle",), _THROTTLE)
    yield Target("case", ("setting",), Key("text"))


def _setting_targets() -> Iterator[Target]:
    rule = ENGINE_FILE["setting"]
    assert isinstance(rule, list)
    for side in _SIDES:
        move = rule[0][side]
        assert isinstance(move, dict)
        for key, inner in move.items():
            # "intake.cam" is a table of the file too; a setting's cam is one of [[other_cam]].
            if isinstance(inner, Key):
                yield Target("setting", (side, key), inner)
        yield Target("setting", (side, "centreline"), CENTRELINE)
    for path, rule in EVENTS.items():
        yield Target("setting", path, rule)


def _file_targets() -> Iterator[Target]:
    for path, rule in _keys(ENGINE_FILE, ()):
        yield Target("file", path, rule)


def _keys(
    table: Mapping[str, Any], above: tuple[str, ...]
) -> Iterator[tuple[tuple[str, ...], Key]]:
    for name, rule in table.items():
        if isinstance(rule, Key):
            yield (*above, name), rule
        elif isinstance(rule, dict):
            yield from _keys(rule, (*above, name))


def _parts(raw: Mapping[str, Any]) -> Iterator[Target]:
    """Keys of the pipes, chambers and other named rows that the file has."""
    for table in ("pipe", "chamber", "outside", "other_cam"):
        rule, rows = ENGINE_FILE[table], raw.get(table, [])
        assert isinstance(rule, list)
        for row in rows if isinstance(rows, list) else []:
            name = row.get("name") if isinstance(row, dict) else None
            for key, inner in rule[0].items() if isinstance(name, str) else ():
                if isinstance(inner, Key) and key != "name":
                    yield Target("file", (table, str(name), key), inner)


def _forms(target: Target) -> Iterator[str]:
    path = target.path
    yield plain(".".join(path))
    if path[0] in ("pipe", "chamber", "outside", "other_cam"):
        return
    if len(path) == 3:
        yield plain(f"{path[0]} {path[2]}")
    if len(path) == 2:
        yield plain(path[1])
