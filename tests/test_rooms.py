"""Data goes one way, file to view: no room asks one that comes after it."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

import breathe

PACKAGE = Path(breathe.__file__).parent
ORDER: tuple[tuple[str, ...], ...] = (
    ("version", "errors", "about", "run_names", "kernel", "run", "runs"),
    ("gas",),
    ("engine", "valvetrain", "measured"),
    ("cycle",),
    ("study",),
    ("study.checks",),
    ("study.search",),
    ("study.control", "study.plans"),
    ("view",),
    ("commands", "__main__"),
)
"""Rooms and single files, upstream first. Those that read an engine ask each other's parts."""
RANK = {room: rank for rank, rooms in enumerate(ORDER) for room in rooms}
APART = ({"study.control", "study.plans"},)
"""Of one rank, and yet none of the other's business."""


def room_of(module: str) -> str:
    """Room of 'breathe.study.search.best' or of a name in it."""
    parts = module.split(".")[1:]
    inner = ".".join(parts[:2])
    return inner if inner in RANK else parts[0]


def asked(source: str) -> Iterator[str]:
    """Modules of the package that a source imports, inside functions too."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.ImportFrom) and node.module and not node.level:
            names = [f"{node.module}.{alias.name}" for alias in node.names]
        elif isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        else:
            continue
        yield from (name for name in names if name.startswith("breathe."))


def against_the_flow(module: str, source: str) -> list[str]:
    """What a module imports and should not."""
    room = room_of(module)
    found = []
    for name in asked(source):
        other = room_of(name)
        apart = room != other and any({room, other} <= pair for pair in APART)
        if RANK[other] > RANK[room] or apart:
            found.append(f"{module} asks {name}")
    return found


def sources() -> Iterator[tuple[str, str]]:
    for path in sorted(PACKAGE.rglob("*.py")):
        parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
        if parts != ("breathe", "__init__"):  # the public face hands out names of all rooms
            yield ".".join(parts), path.read_text(encoding="utf-8")


def test_no_room_asks_one_after_it() -> None:
    assert [told for module, source in sources() for told in against_the_flow(module, source)] == []


@pytest.mark.parametrize(
    ("module", "source"),
    [
        ("breathe.study.compare", "from breathe.view.tables import grid"),
        ("breathe.study.gear", "def f():\n    from breathe.study import search"),
        ("breathe.study.checks.check", "from breathe.study.search.surface import peaks"),
        ("breathe.study.plans.rank", "import breathe.study.control.limits"),
        ("breathe.gas.pipe", "from breathe.engine import parts"),
    ],
)
def test_an_import_against_the_flow_is_seen(module: str, source: str) -> None:
    assert len(against_the_flow(module, source)) == 1


def test_one_with_the_flow_is_not() -> None:
    source = "import breathe.engine\nfrom breathe.study.checks.line import Line\nimport numpy"
    assert against_the_flow("breathe.study.control.limits", source) == []
