"""How the pipes of an engine are joined where its file does not say, by class of engine.

Rows as an engine file has them, without sizes: those are in `typical`. A row of the file that bears
the name of a typical part, and leads where that one leads, takes from it what it leaves out; a side
without any pipe gets all of them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from breathe.engine.assumed import OUTSIDE_AIR
from breathe.engine.engine_classes import (
    FRONT_PIPE_M,
    INLET_SPEED,
    SPORT_EXHAUST_SPEED,
    TAILPIPE_M,
    EngineClass,
)
from breathe.engine.findings import Findings
from breathe.engine.parts import Side

Row = dict[str, Any]
_SIDES: tuple[Side, Side] = ("intake", "exhaust")
_PLACES = ("from", "to")


@dataclass(frozen=True, slots=True)
class Layout:
    """The parts of one side; ``throttle`` as the file's table of that name."""

    pipes: tuple[Row, ...]
    chambers: tuple[Row, ...] = ()
    throttle: Mapping[str, Any] | None = None


def layout(side: Side, kind: EngineClass, count: int) -> Layout:
    """The typical parts of one side of an engine of ``count`` cylinders."""
    return _intake(kind) if side == "intake" else _exhaust(kind, count)


def _intake(kind: EngineClass) -> Layout:
    """Outside air, an air filter if the class has one, a plenum or a mouth for each cylinder."""
    pipes, chambers, source = [], [], OUTSIDE_AIR
    if kind.air_filter:
        pipes.append(_row("air inlet", "intake", source, "air filter", ("flared", "flush")))
        chambers.append(_volume("air filter", "intake"))
        source = "air filter"
    throttled = "intake runner"
    if not kind.individual_runners:
        throttled = "throttle body"
        pipes.append(_row(throttled, "intake", source, "plenum", ("bell mouth", "flush")))
        chambers.append(_volume("plenum", "intake"))
        source = "plenum"
    mouths = ("bell mouth", "")
    pipes += [
        _row("intake runner", "intake", source, "head face {n}", mouths, each=True),
        _row("intake port", "intake", "head face {n}", "intake valve", each=True),
    ]
    return Layout(tuple(pipes), tuple(chambers), {"pipe": throttled, "end": "from"})


def exhaust_groups(count: int) -> list[list[int]]:
    """Cylinders that share a collector: at most four, halves of a larger engine apart."""
    numbers = list(range(1, count + 1))
    if count <= 4:
        return [numbers]
    size = math.ceil(count / math.ceil(count / 4)) if count != 6 else 3
    return [numbers[i : i + size] for i in range(0, count, size)]


def group_marks(count: int) -> list[str]:
    """What the parts of each group carry behind their names: nothing if there is one group."""
    groups = exhaust_groups(count)
    return [f" {n}" for n in range(1, len(groups) + 1)] if len(groups) > 1 else [""]


def _exhaust(kind: EngineClass, count: int) -> Layout:
    """Primaries into a collector for each group, then a silencer if the class has one."""
    groups, marks = exhaust_groups(count), group_marks(count)
    joined = max(len(group) for group in groups) > 1
    pipes, chambers = [], []
    after = "silencer" if kind.silencer else OUTSIDE_AIR
    for mark in marks:
        out = f"silencer{mark}" if kind.silencer else OUTSIDE_AIR
        if joined:
            name = f"front pipe{mark}" if kind.silencer else f"tailpipe{mark}"
            pipes.append(_row(name, "exhaust", f"collector{mark}", out, ("flared", "plain end")))
            chambers.append(_volume(f"collector{mark}", "exhaust"))
        if kind.silencer:
            ends = ("plain end", "plain end")
            pipes.append(_row(f"tailpipe{mark}", "exhaust", out, OUTSIDE_AIR, ends))
            chambers.append(_volume(f"silencer{mark}", "exhaust"))
    to: str | list[str] = after
    if joined:
        to = [f"collector{m}" for group, m in zip(groups, marks, strict=True) for _ in group]
        to = to[0] if len(marks) == 1 else to
    mouths = ("", "flared" if joined else "plain end")
    heads = [
        _row("exhaust port", "exhaust", "exhaust valve", "flange {n}", each=True),
        _row("exhaust primary", "exhaust", "flange {n}", to, mouths, each=True),
    ]
    return Layout((*heads, *pipes), tuple(chambers))


def _row(
    name: str,
    side: Side,
    start: str,
    end: str | list[str],
    mouths: tuple[str, str] = ("", ""),
    *,
    each: bool = False,
) -> Row:
    row: Row = {"name": name, "side": side}
    if each:
        row["each"] = "cylinder"
    row |= {"from": start, "to": end}
    return row | {f"{e}_mouth": m for e, m in zip(_PLACES, mouths, strict=True) if m}


def _volume(name: str, side: Side) -> Row:
    return {"name": name, "side": side}


def built_as_named(kind: EngineClass, values: Mapping[str, Any]) -> EngineClass:
    """The class with the parts whose names the file has, and without those it leaves out.

    So a file whose typical parts are only named still reads when its class is changed.
    """
    names = {row.get("name", "") for table in ("pipe", "chamber") for row in values.get(table, [])}
    changes: dict[str, Any] = {}
    if names & {"intake runner", "intake port"}:
        changes["individual_runners"] = "throttle body" not in names
        changes["inlet_speed"] = (kind.inlet_speed or INLET_SPEED) if "air inlet" in names else 0.0
    if names & {"exhaust primary", "exhaust port"}:
        silenced = any(name.startswith("silencer") for name in names)
        changes["exhaust_speed"] = (kind.exhaust_speed or SPORT_EXHAUST_SPEED) * silenced
        changes["front_pipe_m"] = kind.front_pipe_m or FRONT_PIPE_M
        changes["tailpipe_m"] = kind.tailpipe_m or TAILPIPE_M
    return replace(kind, **changes)


def fill_layout(values: dict[str, Any], kind: EngineClass, findings: Findings) -> None:
    """Add the typical parts of a side without pipes, and what rows of their names leave out.

    A row so treated has ``typical`` set; `typical.fill_sizes` gives it its sizes.
    """
    pipes, chambers = values.setdefault("pipe", []), values.setdefault("chamber", [])
    for side in _SIDES:
        usual = layout(side, kind, values["engine"]["cylinders"])
        named = {row["name"]: row for row in usual.pipes}
        own = [r for r in pipes if _side_of(r, named) == side]
        for row in own:
            _complete(row, named.get(row.get("name", "")))
        volumes = {row["name"]: row for row in usual.chambers}
        for row in chambers:
            _complete(row, volumes.get(row.get("name", "")))
        if side == "intake":
            _fill_throttle(values, usual, own, kind, findings)
        if not own and "pipe" not in findings.faulty:
            pipes += [_typical(row, "pipe") for row in usual.pipes]
            there = {row.get("name") for row in chambers}
            chambers += [_typical(r, "chamber") for r in usual.chambers if r["name"] not in there]


def _side_of(row: Row, named: Mapping[str, Row]) -> str:
    usual = named.get(row.get("name", ""))
    return str(row.get("side", usual["side"] if usual else ""))


def _typical(row: Row, table: str) -> Row:
    return {**row, "place": f'[[{table}]] "{row["name"]}"', "typical": True, "found": ()}


def _complete(row: Row, usual: Row | None) -> None:
    """Fill a row from the typical part of its name, unless it leads elsewhere."""
    if usual is None:
        return
    leads = (key for key in usual if not key.endswith("_mouth"))
    if any(row.get(key, usual[key]) != usual[key] for key in leads):
        return
    for key, value in usual.items():
        if key not in row.get("found", ()):
            row[key] = value
    row["typical"] = True


def _fill_throttle(
    values: dict[str, Any], usual: Layout, own: list[Row], kind: EngineClass, findings: Findings
) -> None:
    given = values.get("throttle")
    assert usual.throttle is not None
    if given is None and own:
        return
    if given is None:
        given = values["throttle"] = {"found": ()}
    names = {row.get("name") for row in own} if own else {row["name"] for row in usual.pipes}
    if "pipe" in given["found"] or usual.throttle["pipe"] not in names:
        return
    given.update({k: v for k, v in usual.throttle.items() if k not in given["found"]})
    where = "each runner" if kind.individual_runners else "before the plenum"
    findings.assume("throttle.pipe", given["pipe"], f"{where}, typical of {kind.name}")
    if "coefficient" not in given["found"]:
        share = given["coefficient"] = kind.throttle_coefficient
        findings.assume("throttle.coefficient", f"{share:g}", kind.throttle_reason)
