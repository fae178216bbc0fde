"""Pipes, chambers and outside air from the file's [[pipe]], [[chamber]], [[outside]], [throttle].

A row with ``each`` stands for one pipe or chamber per cylinder; ``{n}`` in a name is the cylinder's
number. Pipes meet only in chambers, so every junction has a volume.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from breathe.engine.assumed import OUTSIDE_AIR
from breathe.engine.end_correction import corrected
from breathe.engine.engine_classes import THROTTLE_COEFFICIENT
from breathe.engine.findings import COMMON_PRACTICE, FROM_MEMORY, Findings
from breathe.engine.parts import Air, Chamber, End, Outside, Pipe, Side

Row = Mapping[str, Any]

# Entry losses K of dynamic head 0.04, 0.2, 0.5, 0.8; area share 1 / sqrt(1 + K).
MOUTH_INFLOW: Mapping[str, float] = {
    "bell mouth": 0.98,
    "flared": 0.91,
    "flush": 0.82,
    "plain end": 0.75,
}
"""Effective over pipe area for flow into a pipe: entry losses of I. E. Idelchik, Handbook of
Hydraulic Resistance, 3rd ed., 1994, section 3 (from memory). Flow out fills the pipe."""
MOUTH_SOURCE = (
    "entry losses of I. E. Idelchik, Handbook of Hydraulic Resistance, 1994 (from memory)"
)

PULSATION_SOURCE = (
    "C. Depcik and D. Assanis, SAE 2002-01-0372, 2002: Nu = 0.07 Re^0.75 in intake and exhaust, "
    "about 1.7 times a smooth pipe (from memory)"
)
ROUGHNESS_M = 0.05e-3
PULSATION_AT_VALVE, PULSATION_ELSEWHERE = 1.7, 1.3
LONGEST_PORT_M = 0.15
_WALL_K: Mapping[tuple[Side, str], float] = {
    ("intake", "port"): 368.15,
    ("intake", "runner"): 333.15,
    ("intake", "duct"): 313.15,
    ("exhaust", "port"): 523.15,
    ("exhaust", "runner"): 773.15,
    ("exhaust", "duct"): 653.15,
}
_ROLE = {
    "port": "port in the head, cooled or warmed by its water",
    "runner": "joins the head; mean along it",
    "duct": "away from the head",
}


def pipe_role(at_valve: bool, joined: bool, length_m: float) -> str:
    """Whether a pipe is a port, a runner (or primary), or a duct away from the head."""
    if at_valve:
        return "port" if length_m <= LONGEST_PORT_M else "runner"
    return "runner" if joined else "duct"


def pipe_wall_K(side: Side, role: str) -> float:
    """Mean wall temperature of a pipe with the engine warm and at full load [K].

    Common practice, no source: ports follow the coolant, exhaust pipes the gas.
    """
    return _WALL_K[side, role]


@dataclass(frozen=True, slots=True)
class Network:
    """What the gas flows through, outside the cylinders."""

    pipes: tuple[Pipe, ...] = ()
    chambers: tuple[Chamber, ...] = ()
    outsides: tuple[Outside, ...] = ()


def build_network(values: Mapping[str, Any], count: int, air: Air, findings: Findings) -> Network:
    """The network the file gives, each side possibly empty; names were checked before."""
    throttle = _throttle(values, findings)
    chambers = [c for row in values.get("chamber", []) for c in _chambers(row, count, findings)]
    outsides = [
        Outside(
            name=row["name"],
            pressure_Pa=row.get("pressure", air.pressure_Pa),
            temperature_K=row.get("temperature", air.temperature_K),
        )
        for row in values.get("outside", [])
    ]
    if OUTSIDE_AIR not in {o.name for o in outsides}:
        outsides.append(
            Outside(name=OUTSIDE_AIR, pressure_Pa=air.pressure_Pa, temperature_K=air.temperature_K)
        )
    volumes = {c.name for c in chambers} | {o.name for o in outsides}
    pipes = [
        pipe
        for row in values.get("pipe", [])
        for pipe in _pipes(row, count, throttle, volumes, findings)
    ]
    return Network(tuple(pipes), tuple(chambers), tuple(outsides))


def exhaust_apart(network: Network) -> Network:
    """Exhaust pipes open into an outside of their own, at the same state.

    What a tailpipe draws back is exhaust it has just blown out, not fresh air; an outside that an
    intake breathes from cannot be both.
    """
    breathed = {e.node for p in network.pipes if p.side == "intake" for e in (p.start, p.end)}
    shared = {o.name: f"{o.name}, exhaust" for o in network.outsides if o.name in breathed}
    pipes = tuple(
        p
        if p.side == "intake"
        else replace(
            p,
            start=replace(p.start, node=shared.get(p.start.node, p.start.node)),
            end=replace(p.end, node=shared.get(p.end.node, p.end.node)),
        )
        for p in network.pipes
    )
    used = {e.node for p in pipes for e in (p.start, p.end)}
    doubled = [replace(o, name=shared[o.name]) for o in network.outsides if o.name in shared]
    outsides = tuple(o for o in (*network.outsides, *doubled) if o.name in used)
    return Network(pipes, network.chambers, outsides)


def _throttle(values: Mapping[str, Any], findings: Findings) -> Row | None:
    """The [throttle] with its coefficient, or None; noted either way."""
    given = values.get("throttle")
    if given is None:
        if any(row["side"] == "intake" for row in values.get("pipe", [])):
            reason = "the file has intake pipes but no [throttle]: full load only"
            findings.assume("throttle", "none", reason)
        return None
    if "coefficient" in given:
        return dict(given)
    reason = "open area left by a wide-open plate and its shaft"
    findings.assume("throttle.coefficient", f"{THROTTLE_COEFFICIENT:g}", reason)
    return {**given, "coefficient": THROTTLE_COEFFICIENT}


def _chambers(row: Row, count: int, findings: Findings) -> Iterable[Chamber]:
    area = 0.0
    if "wall" in row:
        area = row.get("wall_area", _ball_area(row["volume"]))
    else:
        reason = "its wall is taken to be at the temperature of the gas"
        findings.assume(f'chamber "{row["name"]}" wall', "no heat exchanged", reason)
    for n in cylinders_of(row, count):
        yield Chamber(
            name=numbered(row["name"], n),
            side=row["side"],
            volume_m3=row["volume"],
            wall_K=row.get("wall"),
            wall_area_m2=area,
        )


def _ball_area(volume_m3: float) -> float:
    """Least wall a volume can have, of a ball [m2]."""
    return float((36 * np.pi) ** (1 / 3) * volume_m3 ** (2 / 3))


def cylinders_of(row: Row, count: int) -> Sequence[int | None]:
    """Cylinders a row is repeated for; [None] for a single one."""
    each = row.get("each")
    if each is None:
        return [None]
    return list(range(1, count + 1)) if each == "cylinder" else list(each)


def numbered(name: str, n: int | None) -> str:
    """A row's name for cylinder ``n``."""
    if n is None:
        return name
    return name.replace("{n}", str(n)) if "{n}" in name else f"{name} {n}"


def node_of(row: Row, end: str, index: int, n: int | None) -> str:
    """The node one end of a repeated pipe opens into."""
    found = row[end]
    name = found[min(index, len(found) - 1)] if isinstance(found, list) else found
    if n is None:
        return str(name)
    if name in ("intake valve", "exhaust valve"):
        return f"{name} {n}"
    return str(name.replace("{n}", str(n)))


def _pipes(
    row: Row, count: int, throttle: Row | None, volumes: set[str], findings: Findings
) -> Iterable[Pipe]:
    shape = pipe_shape(row, findings)
    if shape is None:
        return
    station, diameter = shape
    side: Side = row["side"]
    nodes = [node_of(row, end, 0, cylinders_of(row, count)[0]) for end in ("from", "to")]
    details = _details(row, side, _role(nodes, volumes, station[-1]), findings)
    closes = throttle["end"] if throttle and throttle["pipe"] == row["name"] else ""
    share = throttle["coefficient"] if throttle else None
    mouths = {
        end: _mouth(row, end, node, side, node in volumes, findings)
        for end, node in zip(("from", "to"), nodes, strict=True)
    }
    for index, n in enumerate(cylinders_of(row, count)):
        start, end = (
            pipe_end(node_of(row, e, index, n), mouths[e], share if e == closes else None)
            for e in ("from", "to")
        )
        pipe = Pipe(
            name=numbered(row["name"], n),
            side=side,
            station_m=station,
            diameter_m=diameter,
            start=start,
            end=end,
            **details,
        )
        yield corrected(pipe, findings) if row.get("end_correction", True) else pipe


def _role(nodes: list[str], volumes: set[str], length_m: float) -> str:
    at_valve = any(" valve " in node for node in nodes)
    joined = any(node not in volumes and " valve " not in node for node in nodes)
    return pipe_role(at_valve, joined, length_m)


def _details(row: Row, side: Side, role: str, findings: Findings) -> dict[str, Any]:
    """Wall, roughness and multipliers of a row; what is missing is noted once."""
    place = f'pipe "{row["name"]}"'
    wall_K = pipe_wall_K(side, role)
    pulsation = PULSATION_ELSEWHERE if role == "duct" else PULSATION_AT_VALVE
    notes = {
        "wall": (f"{wall_K - 273.15:.0f} degC", _ROLE[role], COMMON_PRACTICE),
        "roughness": (f"{ROUGHNESS_M * 1e3:g} mm", "drawn or welded tube", FROM_MEMORY),
        "heat_multiplier": (f"{pulsation:g}", "pulsating over steady flow", PULSATION_SOURCE),
    }
    for key, note in notes.items():
        if key not in row:
            findings.assume(f"{place} {key}", *note)
    return {
        "wall_K": row.get("wall", wall_K),
        "roughness_m": row.get("roughness", ROUGHNESS_M),
        "heat_multiplier": row.get("heat_multiplier", pulsation),
        "friction_multiplier": row.get("friction_multiplier", 1.0),
    }


def _mouth(row: Row, end: str, node: str, side: Side, into_volume: bool, findings: Findings) -> str:
    """Mouth of one end, noted if missing; empty where the pipe opens into no volume."""
    key = f"{end}_mouth"
    if not into_volume:
        return ""
    if key in row:
        return str(row[key])
    usual = "plain end" if side == "exhaust" and node == OUTSIDE_AIR else "flared"
    findings.assume(f'pipe "{row["name"]}" {key}', usual, f'opens into "{node}"', MOUTH_SOURCE)
    return usual


def pipe_end(node: str, mouth: str, throttle: float | None) -> End:
    """A pipe's end of a given mouth, behind a throttle that leaves a share of its area open."""
    inflow = MOUTH_INFLOW.get(mouth, 1.0)
    if throttle is None:
        return End(node=node, in_coefficient=inflow, mouth=mouth)
    return End(
        node=node,
        out_coefficient=throttle,
        in_coefficient=min(inflow, throttle),
        mouth=mouth,
        throttled=True,
    )


def pipe_shape(row: Row, findings: Findings) -> tuple[tuple[float, ...], tuple[float, ...]] | None:
    """Stations and diameters of a row, or None after noting the fault."""
    place = row["place"]
    diameters = row["diameter"] if isinstance(row["diameter"], list) else [row["diameter"]] * 2
    stations = row.get("stations")
    if stations is None:
        if "length" not in row:
            findings.fault(f"{place} length", 'missing; write length = "300 mm", or stations')
            return None
        if len(diameters) < 2:
            diameters = diameters * 2
        stations = list(np.linspace(0.0, row["length"], len(diameters)))
    elif not isinstance(row["diameter"], list):
        diameters = [row["diameter"]] * len(stations)
    if len(stations) != len(diameters):
        text = f"{len(stations)} stations but {len(diameters)} diameters; expected one for each"
        findings.fault(f"{place} stations", text)
        return None
    if len(stations) < 2 or stations[0] != 0 or np.any(np.diff(stations) <= 0):
        text = 'expected distances from the start, rising, the first "0 mm"'
        findings.fault(f"{place} stations", text)
        return None
    if "length" in row and abs(row["length"] - stations[-1]) > 1e-6:
        text = (
            f"{row['length'] * 1e3:g} mm, but the last of stations is {stations[-1] * 1e3:g} mm; "
            "give one of them"
        )
        findings.fault(f"{place} length", text)
        return None
    return tuple(float(s) for s in stations), tuple(float(d) for d in diameters)


def nearest(name: str, known: Iterable[str]) -> str:
    """ "did you mean ...?" or the list of what there is."""
    names = list(dict.fromkeys(known))
    near = difflib.get_close_matches(name, names, n=1, cutoff=0.6)
    if near:
        return f'did you mean "{near[0]}"?'
    return "there is " + ", ".join(f'"{n}"' for n in names[:8])
