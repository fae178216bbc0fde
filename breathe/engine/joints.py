"""Whether the pipes of a file join up: every fault of names and connections at once."""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Mapping
from typing import Any

from breathe.engine.assumed import OUTSIDE_AIR
from breathe.engine.findings import Findings
from breathe.engine.network import Row, cylinders_of, nearest, node_of, numbered
from breathe.engine.parts import Side

Edges = list[tuple[str, str, str]]
"""(pipe, node, node)"""
Ends = list[tuple[Row, str, tuple[str, str]]]
"""(row, pipe made from it, its two nodes)"""


def check_joints(values: Mapping[str, Any], count: int, findings: Findings) -> None:
    """Note every name that is unknown or used twice, and every part that is not connected."""
    chambers = _names(values, "chamber", count, findings)
    outsides = _names(values, "outside", count, findings) | {OUTSIDE_AIR: ""}
    _names(values, "pipe", count, findings)
    valves = {f"{s} valve {n}": s for s in ("intake", "exhaust") for n in range(1, count + 1)}
    known = {**valves, **chambers, **outsides}
    edges, ends = [], _ends(values, count, findings)
    joints = _joints(ends, known)
    said = set()
    for row, pipe, nodes in ends:
        for key, node in zip(("from", "to"), nodes, strict=True):
            text = "" if node in joints else _node_fault(row, node, known)
            # Of a family of pipes one is enough, if all are at fault for one reason.
            reason = (row["place"], key, re.sub(r" \d+", "", text))
            if text and reason not in said:
                said.add(reason)
                findings.fault(f"{row['place']} {key}", text, "pipe")
            if node in joints and f"{key}_mouth" in row:
                text = f'"{node}" joins two pipes end to end; a mouth needs a chamber there'
                findings.fault(f"{row['place']} {key}_mouth", text, "pipe")
        edges.append((pipe, *nodes))
    _check_throttle(values, findings)
    if not {"pipe", "chamber", "outside"} & findings.faulty:
        given = {row["side"] for row in values.get("pipe", [])}
        used = [v for v, side in valves.items() if side in given]
        _check_connected(edges, used, set(chambers), set(outsides), findings)


def _names(values: Mapping[str, Any], table: str, count: int, findings: Findings) -> dict[str, str]:
    """Name -> side of every part of one kind."""
    names: dict[str, str] = {}
    for row in values.get(table, []):
        if "name" not in row:
            continue
        bad = _bad_cylinders(row, count)
        if bad:
            text = f"found cylinder {bad[0]}; the engine has {count}"
            findings.fault(f"{row['place']} each", text, table)
            continue
        if "{n}" in row["name"] and "each" not in row:
            text = 'name has {n}; then it needs each = "cylinder" or a list such as [1, 4]'
            findings.fault(row["place"], text, table)
        for n in cylinders_of(row, count):
            name = numbered(row["name"], n)
            if name in names or (name == OUTSIDE_AIR and table != "outside"):
                findings.fault(row["place"], f'the name "{name}" is taken; choose another', table)
            if name.startswith(("intake valve", "exhaust valve")):
                findings.fault(row["place"], f'the name "{name}" is that of a valve', table)
            names[name] = row.get("side", "")
    return names


def _bad_cylinders(row: Row, count: int) -> list[int]:
    each = row.get("each")
    return [n for n in each if not 1 <= n <= count] if isinstance(each, list) else []


def _ends(values: Mapping[str, Any], count: int, findings: Findings) -> Ends:
    """Every pipe made from the rows, with the nodes of its two ends."""
    ends: Ends = []
    for row in values.get("pipe", []):
        if not {"from", "to", "name"} <= row.keys() or _bad_cylinders(row, count):
            continue
        numbers = cylinders_of(row, count)
        uneven = [
            end
            for end in ("from", "to")
            if isinstance(row[end], list) and len(row[end]) != len(numbers)
        ]
        for end in uneven:
            text = f"{len(row[end])} names for {len(numbers)} pipe{'s' if len(numbers) > 1 else ''}"
            findings.fault(f"{row['place']} {end}", f"{text}; expected one for each", "pipe")
        if uneven:
            continue
        for index, n in enumerate(numbers):
            start, end = (node_of(row, key, index, n) for key in ("from", "to"))
            if start == end:
                findings.fault(row["place"], f'both ends open into "{start}"', "pipe")
            ends.append((row, numbered(row["name"], n), (start, end)))
    return ends


def _joints(ends: Ends, known: Mapping[str, str]) -> set[str]:
    """Nodes of no volume where exactly two pipes of one side meet end to end."""
    meets = defaultdict(list)
    for row, pipe, nodes in ends:
        for node in nodes:
            meets[node].append((row.get("side"), pipe))
    return {
        node
        for node, pipes in meets.items()
        if node not in known
        and not node.startswith(("intake valve", "exhaust valve"))
        and len(pipes) == 2
        and pipes[0][0] == pipes[1][0]
        and pipes[0][1] != pipes[1][1]
    }


def _node_fault(row: Row, node: str, known: Mapping[str, str]) -> str:
    if node in ("intake valve", "exhaust valve"):
        return f'found "{node}"; which cylinder? Write "{node} 1", or each = "cylinder"'
    if node not in known:
        return f'found "{node}", which is nowhere defined; {nearest(node, _nodes(row, known))}'
    side = known[node]
    if side and row.get("side") not in (side, None):
        return f'found "{node}" of the {side} side; the pipe is on the {row["side"]} side'
    return ""


def _nodes(row: Row, known: Mapping[str, str]) -> list[str]:
    """Names to offer a row: of its side, chambers and outsides before the many valves."""
    of_side = [node for node, side in known.items() if side in ("", row.get("side", side))]
    return sorted(of_side, key=lambda node: " valve " in node)


def runs_from_valves(
    values: Mapping[str, Any], side: Side, count: int, findings: Findings
) -> list[list[Row]]:
    """Rows end to end from a valve to the first volume, of a network whose joints are right."""
    volumes = {OUTSIDE_AIR} | {
        numbered(row["name"], n)
        for table in ("chamber", "outside")
        for row in values.get(table, [])
        for n in cylinders_of(row, count)
    }
    ends = [(row, nodes) for row, _, nodes in _ends(values, count, findings) if row["side"] == side]
    runs: list[list[Row]] = []
    for first, nodes in ends:
        if not any(node.startswith(f"{side} valve ") for node in nodes):
            continue
        run, end = [first], nodes[nodes[0].startswith(f"{side} valve ")]
        while end not in volumes and len(run) < len(ends):
            row, (start, other) = next(e for e in ends if end in e[1] and e[0] is not run[-1])
            run.append(row)
            end = other if start == end else start
        if run not in runs:
            runs.append(run)
    return runs


def _check_throttle(values: Mapping[str, Any], findings: Findings) -> None:
    throttle = values.get("throttle", {})
    rows = values.get("pipe", [])
    if "pipe" not in throttle or "pipe" in findings.faulty or not rows:
        return
    names = [row["name"] for row in rows]
    if throttle["pipe"] not in names:
        text = f'found "{throttle["pipe"]}"; {nearest(throttle["pipe"], names)}'
        findings.fault("[throttle] pipe", text, "throttle")
        return
    row = rows[names.index(throttle["pipe"])]
    end = throttle.get("end", "from")
    throttle["end"] = end
    if "valve" in node_of(row, end, 0, 1):
        text = f'end = "{end}" is at a valve; choose the other end'
        findings.fault("[throttle] end", text, "throttle")


def _check_connected(
    edges: Edges, valves: list[str], chambers: set[str], outsides: set[str], findings: Findings
) -> None:
    uses = Counter(node for _, a, b in edges for node in {a, b})
    for valve in valves:
        if uses[valve] == 0:
            text = f'no pipe leads to "{valve}"'
            findings.fault("[[pipe]]", text)
        if uses[valve] > 1:
            text = f'{uses[valve]} pipes lead to "{valve}"; let them meet in a [[chamber]]'
            findings.fault("[[pipe]]", text)
    for chamber in sorted(chambers):
        if uses[chamber] == 0:
            findings.fault("[[chamber]]", f'no pipe opens into "{chamber}"')
    reached = _reached(edges, outsides)
    for valve in valves:
        if uses[valve] == 1 and valve not in reached:
            text = f'"{valve}" has no way to the outside; a pipe must open into "{OUTSIDE_AIR}"'
            findings.fault("[[pipe]]", text)


def _reached(edges: Edges, starts: set[str]) -> set[str]:
    """Nodes connected to any of ``starts``."""
    beside = defaultdict(set)
    for _, a, b in edges:
        beside[a].add(b)
        beside[b].add(a)
    reached, ahead = set(starts), list(starts)
    while ahead:
        new = beside[ahead.pop()] - reached
        reached |= new
        ahead += new
    return reached
