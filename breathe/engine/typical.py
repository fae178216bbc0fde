"""Sizes of the pipes and chambers an engine file leaves out, for the engine's peak-power speed.

Each size follows a published rule or common practice and is listed with it. Measured pipes matter:
20 mm of intake length can move the best duration by 20 degrees.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from breathe.engine.assumed import handy
from breathe.engine.engine_classes import EngineClass
from breathe.engine.findings import COMMON_PRACTICE, Findings
from breathe.engine.network import (
    PULSATION_AT_VALVE,
    PULSATION_ELSEWHERE,
    PULSATION_SOURCE,
    ROUGHNESS_M,
    pipe_wall_K,
)
from breathe.engine.parts import Cylinder, Side
from breathe.engine.quantities import written
from breathe.engine.typical_layout import exhaust_groups, group_marks

ENGELMAN_K = 2.1
ENGELMAN_SOURCE = (
    "H. W. Engelman, Design of a tuned intake manifold, ASME 73-WA/DGP-2, 1973, K = 2.1 "
    "(from memory)"
)
BELL_SOURCE = "A. G. Bell, Four-Stroke Performance Tuning (from memory)"
INTAKE_SOUND_SPEED = 345.0
"""In the runner's warmed air [m/s]."""
PORT_SPEED = 85.0
"""Mean gas speed in the smallest port section at peak power [m/s]: 75-95 is common practice."""
THROTTLE_SPEED = 45.0
"""Mean gas speed in a shared throttle at peak power [m/s], common practice."""
INTAKE_PORT_OVER_BORE = 1.1
"""Length of an intake port over the bore, common practice."""
EXHAUST_PORT_M = 0.075
"""Exhaust port that the primary's length rule leaves out (3 in)."""
COLLECTOR_PER_PIPE_M3 = 150e-6
BRANCH_OVER_THROAT = 1.1
"""Bore of a cast exhaust branch over that of one round throat, common practice."""
HOT_FLOW = 2.4
"""Exhaust volume flow over displaced volume flow: 0.85 of it filled, gas at 850 K."""
FILTER_OVER_DISPLACEMENT = 2.0
SILENCER_OVER_DISPLACEMENT = 5.0


@dataclass(frozen=True, slots=True)
class Sizing:
    """What the typical pipes are sized by."""

    cylinder: Cylinder
    count: int
    kind: EngineClass
    peak_power_rpm: float
    exhaust_opens_bbdc: float
    """Crank degrees, seat timing."""
    exhaust_throat_m2: float
    """Throats of one cylinder together."""

    @property
    def swept_m3(self) -> float:
        return math.pi / 4 * self.cylinder.bore_m**2 * self.cylinder.stroke_m

    @property
    def at(self) -> str:
        return f"{self.peak_power_rpm:.0f} rpm"

    def displaced_m3_s(self, cylinders: int) -> float:
        """Volume that so many cylinders displace at peak power."""
        return cylinders * self.swept_m3 * self.peak_power_rpm / 120


@dataclass(frozen=True, slots=True)
class Size:
    """One size in SI, with why."""

    value: float
    dimension: str
    reason: str
    source: str = COMMON_PRACTICE


Sizes = Mapping[str, Mapping[str, Size]]
"""Part -> key of its row -> size."""


def engelman_length(
    speed_rpm: float, area_m2: float, swept_m3: float, compression_ratio: float
) -> float:
    """Intake length from valve to plenum or mouth whose ram peaks at a speed [m].

    N = (60/K) (a / 2 pi) sqrt(2 A (r-1) / (l Vd (r+1))), solved for l: pipe and half-swept cylinder
    as a resonator.

    References
    ----------
    H. W. Engelman, Design of a tuned intake manifold, ASME 73-WA/DGP-2, 1973 (from memory).

    Examples
    --------
    >>> import math
    >>> round(engelman_length(5398, math.pi / 4 * 0.048**2, 716.6e-6, 10.0), 2)
    0.35
    """
    ratio = (compression_ratio - 1) / (compression_ratio + 1)
    pace = 60 * INTAKE_SOUND_SPEED / (2 * math.pi * ENGELMAN_K * speed_rpm)
    return 2 * area_m2 * ratio / swept_m3 * pace**2


def bell_length(speed_rpm: float, exhaust_opens_bbdc: float) -> float:
    """Exhaust primary from the head's face to the collector [m].

    l[in] = 850 (180 + EVO BBDC) / N - 3.

    References
    ----------
    A. G. Bell, Four-Stroke Performance Tuning (from memory).

    Examples
    --------
    >>> round(bell_length(5000, 70) / 0.0254, 1)
    39.5
    """
    return 0.0254 * (850 * (180 + exhaust_opens_bbdc) / speed_rpm - 3)


def bell_diameter(length_m: float, swept_m3: float) -> float:
    """Inside diameter of an exhaust primary [m].

    d[in] = 2.1 sqrt(cc / (25 (l[in] + 3))).

    References
    ----------
    A. G. Bell, Four-Stroke Performance Tuning (from memory).
    """
    return 0.0254 * 2.1 * math.sqrt(swept_m3 * 1e6 / (25 * (length_m / 0.0254 + 3)))


def fill_sizes(values: dict[str, Any], sizing: Sizing, findings: Findings) -> None:
    """Give every row that `typical_layout.fill_layout` marked the sizes it leaves out."""
    sizes = {**_intake(sizing), **_exhaust(sizing)}
    for table in ("pipe", "chamber"):
        rows = [row for row in values.get(table, []) if row.get("typical")]
        for row in rows:
            for key, size in sizes[row["name"]].items():
                if key in row["found"] or (key == "length" and "stations" in row["found"]):
                    continue
                row[key] = size.value
                text = written(size.value, size.dimension)
                findings.assume(f'{table} "{row["name"]}" {key}', text, size.reason, size.source)
        if table == "pipe":
            _fill_walls(rows, sizing.kind, findings)


def _fill_walls(rows: list[dict[str, Any]], kind: EngineClass, findings: Findings) -> None:
    """Wall, roughness and heat multiplier of typical pipes, noted once for each side."""
    filled: dict[tuple[Side, str], dict[str, list[str]]] = {}
    for row in rows:
        role = _role(row["name"])
        wall = kind.heated.get(f"{row['side']} {role}", pipe_wall_K(row["side"], role))
        pulsation = PULSATION_ELSEWHERE if role == "duct" else PULSATION_AT_VALVE
        notes = {
            "wall": (wall, f"{wall - 273.15:.0f} degC"),
            "roughness": (ROUGHNESS_M, f"{ROUGHNESS_M * 1e3:g} mm"),
            "heat_multiplier": (pulsation, f"{pulsation:g}"),
        }
        for key, (value, text) in notes.items():
            if key not in row["found"]:
                row[key] = value
                filled.setdefault((row["side"], key), {}).setdefault(text, []).append(row["name"])
    reasons = {
        "wall": ("mean over the cycle, engine warm, full load", COMMON_PRACTICE),
        "roughness": ("drawn or welded tube, smooth casting", COMMON_PRACTICE),
        "heat_multiplier": ("pulsating flow over steady flow", PULSATION_SOURCE),
    }
    for (side, key), texts in filled.items():
        told = "; ".join(f"{text} ({', '.join(names)})" for text, names in texts.items())
        findings.assume(f"{side} pipe {key}", told, *reasons[key])


def _role(name: str) -> str:
    """Whether a typical pipe is a port, a runner (or primary), or a duct away from the head."""
    last = name.split()[-1]
    return {"port": "port", "runner": "runner", "primary": "runner"}.get(last, "duct")


def _bore(flow_m3_s: float, speed_m_s: float) -> float:
    """Diameter in which a flow has a mean speed, to half a millimetre [m]."""
    return handy(math.sqrt(4 / math.pi * flow_m3_s / speed_m_s), 0.5e-3)


def _length(value_m: float) -> float:
    """A length as people give one: to 10 mm, a short one to 5 mm."""
    return handy(value_m, 10e-3 if value_m > 0.3 else 5e-3)


def _intake(sizing: Sizing) -> Sizes:
    speed, cylinder, kind = sizing.peak_power_rpm, sizing.cylinder, sizing.kind
    # A cylinder draws its displacement in a quarter of the cycle.
    bore = _bore(4 * sizing.displaced_m3_s(1), PORT_SPEED)
    length, source = kind.intake_m, COMMON_PRACTICE
    mouth = "mouth" if kind.individual_runners else "plenum"
    why = f"{length * 1e3:.0f} mm from valve to {mouth}, typical of {kind.name}"
    if not length:
        area = math.pi / 4 * bore**2
        tuned = engelman_length(speed, area, sizing.swept_m3, cylinder.compression_ratio)
        length, source = min(max(tuned, 0.15), 0.70), ENGELMAN_SOURCE
        why = f"ram peak at {sizing.at}: {length * 1e3:.0f} mm from valve to {mouth}"
    port = _length(min(INTAKE_PORT_OVER_BORE * cylinder.bore_m, 0.6 * length))
    runner = _length(length - port)
    narrow = Size(bore, "length", f"mean {PORT_SPEED:g} m/s at {sizing.at}")
    sizes: dict[str, Mapping[str, Size]] = {
        "intake runner": {"length": Size(runner, "length", why, source), "diameter": narrow},
        "intake port": {
            "length": Size(port, "length", f"{INTAKE_PORT_OVER_BORE:g} bores, or 0.6 of the whole"),
            "diameter": narrow,
        },
    }
    return {**sizes, **_air_filter(sizing), **_plenum(sizing)}


def _air_filter(sizing: Sizing) -> Sizes:
    speed = sizing.kind.inlet_speed
    if not speed:
        return {}
    displacement = sizing.count * sizing.swept_m3
    bore = _bore(_steady_flow(sizing), speed)
    length = _length(min(0.30, 6 * bore))
    why = f"mean {speed:g} m/s at {sizing.at}; stands for the filter's loss too"
    of_class = f"typical of {sizing.kind.name}"
    volume = _volume(FILTER_OVER_DISPLACEMENT * displacement)
    reason = f"{FILTER_OVER_DISPLACEMENT:g} times the displacement"
    return {
        "air inlet": {
            "length": Size(length, "length", of_class),
            "diameter": Size(bore, "length", why),
        },
        "air filter": {"volume": Size(volume, "volume", reason)},
    }


def _steady_flow(sizing: Sizing) -> float:
    """Displaced volume flow, with fewer than four cylinders as if four took turns [m3/s]."""
    # What serves one to three cylinders in turns is no smaller than for four.
    return sizing.displaced_m3_s(sizing.count) * max(1.0, 4 / sizing.count)


def _volume(value_m3: float) -> float:
    """A volume to two figures."""
    return handy(value_m3, 10 ** (math.floor(math.log10(value_m3)) - 1))


def _plenum(sizing: Sizing) -> Sizes:
    if sizing.kind.individual_runners:
        return {}
    displacement = sizing.count * sizing.swept_m3
    share = sizing.kind.plenum_over_displacement
    if sizing.count == 1:
        share = max(share, 2.0)
    why = f"mean {THROTTLE_SPEED:g} m/s at {sizing.at}"
    return {
        "throttle body": {
            "length": Size(0.10, "length", "usual"),
            "diameter": Size(_bore(_steady_flow(sizing), THROTTLE_SPEED), "length", why),
        },
        "plenum": {
            "volume": Size(
                _volume(share * displacement), "volume", f"{share:g} times the displacement"
            )
        },
    }


def _exhaust(sizing: Sizing) -> Sizes:
    kind = sizing.kind
    rule = f"for {sizing.at}, exhaust opens {sizing.exhaust_opens_bbdc:.0f} BBDC"
    primary = kind.primary_m
    if primary:
        throat = math.sqrt(4 / math.pi * sizing.exhaust_throat_m2)
        bore = handy(BRANCH_OVER_THROAT * throat, 0.5e-3)
        length = Size(primary, "length", f"cast manifold, typical of {kind.name}")
        wide = Size(bore, "length", f"{BRANCH_OVER_THROAT:g} of the throat, cast manifold")
    else:
        tuned = bell_length(sizing.peak_power_rpm, sizing.exhaust_opens_bbdc)
        primary = _length(min(max(tuned, 0.25), 1.1))
        bore = handy(bell_diameter(primary, sizing.swept_m3), 0.5e-3)
        length = Size(primary, "length", rule, BELL_SOURCE)
        wide = Size(bore, "length", rule, BELL_SOURCE)
    sizes: dict[str, Mapping[str, Size]] = {
        "exhaust port": {
            "length": Size(EXHAUST_PORT_M, "length", "usual"),
            "diameter": wide,
        },
        "exhaust primary": {"length": length, "diameter": wide},
    }
    groups = exhaust_groups(sizing.count)
    for mark, group in zip(group_marks(sizing.count), groups, strict=True):
        sizes |= _behind(sizing, mark, len(group), bore)
    return sizes


def _behind(sizing: Sizing, mark: str, joined: int, primary_bore_m: float) -> Sizes:
    """Collector, silencer and pipes behind the primaries of one group."""
    kind = sizing.kind
    volume = _volume(COLLECTOR_PER_PIPE_M3 * joined)
    collector = {"volume": Size(volume, "volume", "150 cc for each pipe that joins")}
    if not kind.exhaust_speed:
        bore = handy(primary_bore_m * math.sqrt(max(1.3, joined / 2)), 0.5e-3)
        reason = f"carries {joined} cylinders in turns; no silencer"
        tail = {"length": Size(1.2, "length", reason), "diameter": Size(bore, "length", reason)}
        return {f"tailpipe{mark}": tail, f"collector{mark}": collector}
    flow = HOT_FLOW * sizing.displaced_m3_s(joined)
    why = f"mean {kind.exhaust_speed:g} m/s at {sizing.at}, gas at 850 K"
    wide = Size(_bore(flow, kind.exhaust_speed), "length", why)
    of_class = f"typical of {kind.name}"
    silencer = _volume(SILENCER_OVER_DISPLACEMENT * joined * sizing.swept_m3)
    reason = f"{SILENCER_OVER_DISPLACEMENT:g} times the displacement"
    return {
        f"collector{mark}": collector,
        f"front pipe{mark}": {
            "length": Size(kind.front_pipe_m, "length", of_class),
            "diameter": wide,
        },
        f"silencer{mark}": {"volume": Size(silencer, "volume", reason)},
        f"tailpipe{mark}": {"length": Size(kind.tailpipe_m, "length", of_class), "diameter": wide},
    }
