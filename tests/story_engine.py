"""The invented four with a sleeve cam at zero lash, written as an engine file with changes."""

from __future__ import annotations

from pathlib import Path

from breathe.study.checks.check import Check
from breathe.study.checks.line import Line

ENGINES = Path(__file__).parents[1] / "engines"


def write_story(folder: Path, *changes: tuple[str, str], name: str = "story.toml") -> Path:
    """Path of the file; each change replaces a text that must be there."""
    text = (ENGINES / "road_four_sleeve.toml").read_text(encoding="utf-8")
    for old, new in (('lash = "0.20 mm"', 'lash = "0 mm"'), ('lash = "0.25 mm"', 'lash = "0 mm"')):
        text = text.replace(old, new)
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new)
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


CENTRE_HELD = (
    ('hold = "opening"', 'hold = "centre"'),
    ('opens = "22 BTDC"\ncloses = "26 ABDC"', 'centreline = "110 ATDC"'),
)


def one(found: Check, topic: str, item: str, **wanted) -> Line:
    """The one line that answers to all of this."""
    lines = [
        line
        for line in found.lines
        if line.topic == topic
        and line.item.startswith(item)
        and all(getattr(line, name) == value for name, value in wanted.items())
    ]
    assert len(lines) == 1, lines
    return lines[0]


def gap(found: Check, label: str, case: str = "as given", side: str = "intake") -> Line:
    return one(found, "valve to piston", "smallest", setting=label, case=case, side=side)
