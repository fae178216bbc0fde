"""The pipes and chambers of an engine as blocks of a file, each with its name alone not assumed.

A name alone is enough for the reader, which knows the typical part of that name; so any single line
of a block may be given a value of one's own.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Mapping
from typing import Any

from breathe.engine.assumed import OUTSIDE_AIR
from breathe.engine.parts import Chamber, End, Engine, Pipe
from breathe.engine.toml_lines import remarked, toml


def network_lines(engine: Engine, throttle: Mapping[str, Any]) -> list[str]:
    """Blocks of the assumed pipes and chambers; a family of pipes is one block.

    ``throttle`` is what the user gave of the table of that name.
    """
    families: dict[str, list[Pipe]] = defaultdict(list)
    for pipe in engine.pipes:
        families[_family(pipe, engine)].append(pipe)
    blocks = [_pipe_lines(name, pipes, engine) for name, pipes in families.items()]
    blocks += [_chamber_lines(chamber, engine) for chamber in engine.chambers]
    throttled = [n for n, pipes in families.items() if pipes[0].start.throttled]
    if throttled:
        share = families[throttled[0]][0].start.out_coefficient
        lines = {"pipe": throttled[0], "end": "from", "coefficient": round(share, 6)}
        given = [f"{key} = {toml(value)}" for key, value in throttle.items()]
        left = [
            _assumed(key, value, engine, "throttle.")
            for key, value in lines.items()
            if key not in throttle
        ]
        blocks.append(["[throttle]", *given, *left])
    return [line for block in blocks for line in [*block, ""]]


def _assumed(key: str, value: Any, engine: Engine, place: str) -> str:
    """A commented line, with the reason if its value is among the assumed ones."""
    reasons = [one.reason for one in engine.assumed if one.key == f"{place}{key}"]
    return remarked(f"# {key} = {toml(value)}", f"assumed: {reasons[0]}" if reasons else "")


def _family(pipe: Pipe, engine: Engine) -> str:
    stem = re.sub(r" \d+$", "", pipe.name)
    alike = [p for p in engine.pipes if re.sub(r" \d+$", "", p.name) == stem]
    return stem if len(alike) == engine.cylinder_count and _numbered(alike) else pipe.name


def _numbered(pipes: list[Pipe]) -> bool:
    return all(re.search(r" \d+$", pipe.name) for pipe in pipes)


def _pipe_lines(name: str, pipes: list[Pipe], engine: Engine) -> list[str]:
    first = pipes[0]
    lines = ["[[pipe]]", f"name = {toml(name)}"]
    repeated = len(pipes) == engine.cylinder_count and name != first.name
    if repeated:
        lines.append('each = "cylinder"')
    volumes = {c.name for c in engine.chambers} | {o.name for o in engine.outsides}
    keys: dict[str, Any] = {"side": first.side}
    for key, ends in (("from", [p.start for p in pipes]), ("to", [p.end for p in pipes])):
        keys[key] = _nodes(ends, repeated, volumes)
    keys["length"] = f"{first.built_length_m * 1e3:.4g} mm"
    keys["diameter"] = f"{first.diameter_m[0] * 1e3:.4g} mm"
    for key, end in (("from", first.start), ("to", first.end)):
        if end.mouth:
            keys[f"{key}_mouth"] = end.mouth
    keys["wall"] = f"{first.wall_K - 273.15:.0f} degC"
    keys["roughness"] = f"{first.roughness_m * 1e3:g} mm"
    keys["heat_multiplier"] = first.heat_multiplier
    place = f'pipe "{name}" '
    return lines + [_assumed(key, value, engine, place) for key, value in keys.items()]


def _nodes(ends: list[End], repeated: bool, volumes: set[str]) -> str | list[str]:
    """One name for all ends of a family if a number is all that differs, else their list."""
    names = [OUTSIDE_AIR if e.node.startswith(OUTSIDE_AIR) else e.node for e in ends]
    if not repeated or names[0] in (OUTSIDE_AIR, *volumes):
        return names[0] if len(set(names)) == 1 else names
    stem = names[0].rpartition(" ")[0]
    return stem if " valve " in names[0] else f"{stem} {{n}}"


def _chamber_lines(chamber: Chamber, engine: Engine) -> list[str]:
    keys = {"side": chamber.side, "volume": f"{chamber.volume_m3 * 1e6:.0f} cc"}
    place = f'chamber "{chamber.name}" '
    lines = [_assumed(key, value, engine, place) for key, value in keys.items()]
    return ["[[chamber]]", f"name = {toml(chamber.name)}", *lines]
