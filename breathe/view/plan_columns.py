"""Which columns a plan of what-ifs for one engine may have."""

from __future__ import annotations

from breathe.engine.quantities import from_si
from breathe.study.plans.names import Names, Target
from breathe.study.plans.sheet import value_in
from breathe.study.plans.units import dead_centre
from breathe.study.plans.what_if import Base, kept_value
from breathe.view.console import Grid, Item, Piece

_WIRING = frozenset(("side", "each", "from", "to", "pipe", "end"))
"""Keys that say what joins what; a plan may have them, but hardly will."""
_OPTIONAL = ("sleeve", "phaser", "flow")
"""Tables of a side that are of use only where the file has them."""
_OF_A_SLEEVE = ("added", "travel")
_SHORT = 3
"""Letters of a name that the trade writes in capitals."""


def columns_page(base: Base) -> list[Piece]:
    """The columns by name, with what people also type and what the file has."""
    body = [
        (name, also, _now(base, target))
        for name, also, target in Names(base.raw).listing()
        if _of_use(base, target)
    ]
    grid = Grid(
        title=f"Columns that a plan for {base.file.name} may have",
        header=("column", "also", "now, or (unit)"),
        rows=tuple((name, _capitals(also), now) for name, also, now in body),
        left=frozenset({0, 1, 2}),
        folds=frozenset({1}),
    )
    return [
        grid,
        "",
        Item(
            "Capitals, dots and _ do not matter. A pipe or chamber may be named by words of its "
            "name (runner, plenum); its length or volume is then meant. The unit stands behind a "
            "name, in brackets or in the cell."
        ),
        Item(
            "Not listed: keys that hold a list, such as a taper; what joins what; and what only "
            "`breathe check` reads. A column called name, note, nr or # is carried along."
        ),
    ]


def _of_use(base: Base, target: Target) -> bool:
    path = target.path
    if target.room == "setting" and path[1] in _OF_A_SLEEVE:
        return value_in(base.raw, (path[0], "sleeve")) is not None
    if target.room != "file":
        return True
    if path[-1] in _WIRING or isinstance(value_in(base.raw, path), list):
        return False
    for n, table in enumerate(path[:-1]):
        if table in _OPTIONAL and value_in(base.raw, path[: n + 1]) is None:
            return False
    words = target.rule.kind in ("file", "text", "choice")
    return not words or value_in(base.raw, path) is not None


def _capitals(also: str) -> str:
    return ", ".join(w.upper() if len(w) <= _SHORT else w for w in also.split(", "))


def _now(base: Base, target: Target) -> str:
    """What a blank cell stands for, as the file writes it where it does, or the usual unit."""
    unit = f"({target.rule.unit})" if target.rule.unit else ""
    if target.room == "file":
        written = value_in(base.raw, target.path)
        if isinstance(written, bool):
            return "true" if written else "false"
        return unit if written is None else str(written)
    value = kept_value(base, target)
    if not isinstance(value, float):
        return unit if value is None else value
    if not target.rule.unit:
        return f"{value:.4g}"
    shown = f"{from_si(value, target.rule.kind, target.rule.unit):.4g}"
    return f"{shown} {dead_centre(target) or target.rule.unit}"
