"""Intake and exhaust pipes for an engine whose file gives none, sized for its peak-power speed.

Each size follows a published rule or common practice and is listed with it. Measured pipes matter:
20 mm of intake length can move the best duration by 20 degrees.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from breathe.engine.assumed import OUTSIDE_AIR, EngineClass
from breathe.engine.end_correction import corrected
from breathe.engine.findings import COMMON_PRACTICE, Findings
from breathe.engine.network import (
    MOUTH_SOURCE,
    PULSATION_AT_VALVE,
    PULSATION_ELSEWHERE,
    PULSATION_SOURCE,
    ROUGHNESS_M,
    THROTTLE_COEFFICIENT,
    Network,
    pipe_end,
    pipe_wall_K,
)
from breathe.engine.parts import Chamber, Cylinder, End, Pipe, Side

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
EXHAUST_PORT_M = 3 * 0.0254
"""Exhaust port that the primary's length rule leaves out."""
COLLECTOR_PER_PIPE_M3 = 150e-6


@dataclass(frozen=True, slots=True)
class Sizing:
    """What the typical pipes are sized by."""

    cylinder: Cylinder
    count: int
    kind: EngineClass
    peak_power_rpm: float
    exhaust_opens_bbdc: float
    """Crank degrees, seat timing."""

    @property
    def swept_m3(self) -> float:
        return math.pi / 4 * self.cylinder.bore_m**2 * self.cylinder.stroke_m


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


def typical_side(side: Side, sizing: Sizing, findings: Findings) -> Network:
    """The pipes and chambers of one side; outside air is common to both and not included."""
    build = _typical_intake if side == "intake" else _typical_exhaust
    built = build(sizing, findings)
    network = Network(tuple(corrected(p, findings) for p in built.pipes), built.chambers)
    wall = ", ".join(
        f"{word} {pipe_wall_K(side, role) - 273.15:.0f} degC"
        for role, word in (("port", "ports"), ("runner", "runners"), ("duct", "further away"))
    )
    findings.assume(f"{side} pipe walls", wall, "mean over the cycle, engine warm, full load")
    heat = f"{PULSATION_AT_VALVE:g}, further away {PULSATION_ELSEWHERE:g}"
    findings.assume(
        f"{side} pipe heat_multiplier", heat, "pulsating flow over steady flow", PULSATION_SOURCE
    )
    return network


def _typical_intake(sizing: Sizing, findings: Findings) -> Network:
    speed, cylinder = sizing.peak_power_rpm, sizing.cylinder
    piston = math.pi / 4 * cylinder.bore_m**2
    area = piston * cylinder.stroke_m * speed / 30 / PORT_SPEED
    bore = math.sqrt(4 / math.pi * area)
    length = engelman_length(speed, area, sizing.swept_m3, cylinder.compression_ratio)
    length = min(max(length, 0.10), 0.70)
    at = f"{speed:.0f} rpm"
    findings.assume(
        "intake runner diameter", f"{bore * 1e3:.1f} mm", f"mean {PORT_SPEED:g} m/s at {at}"
    )
    reason = f"ram peak at {at}, valve to " + (
        "mouth" if sizing.kind.individual_runners else "plenum"
    )
    findings.assume("intake runner length", f"{length * 1e3:.0f} mm", reason, ENGELMAN_SOURCE)
    findings.assume("intake mouths", "bell mouth", "as built for flow", MOUTH_SOURCE)
    source = OUTSIDE_AIR if sizing.kind.individual_runners else "plenum"
    port = min(INTAKE_PORT_OVER_BORE * cylinder.bore_m, 0.6 * length)
    throttle = THROTTLE_COEFFICIENT if sizing.kind.individual_runners else None
    runners = [
        pipe
        for n in range(1, sizing.count + 1)
        for pipe in (
            _pipe(
                f"intake runner {n}",
                ("intake", "runner"),
                length - port,
                bore,
                pipe_end(source, "bell mouth", throttle),
                End(node=f"intake port {n}"),
            ),
            _pipe(
                f"intake port {n}",
                ("intake", "port"),
                port,
                bore,
                End(node=f"intake port {n}"),
                End(node=f"intake valve {n}"),
            ),
        )
    ]
    findings.assume(
        "throttle",
        f"{'each runner' if sizing.kind.individual_runners else 'before the plenum'}, "
        f"{THROTTLE_COEFFICIENT:g} of its area free when open",
        f"typical of {sizing.kind.name}",
    )
    if sizing.kind.individual_runners:
        return Network(pipes=tuple(runners))
    body, plenum = _plenum(sizing, findings)
    return Network(pipes=(body, *runners), chambers=(plenum,))


def _plenum(sizing: Sizing, findings: Findings) -> tuple[Pipe, Chamber]:
    displacement = sizing.count * sizing.swept_m3
    area = displacement * sizing.peak_power_rpm / 120 / THROTTLE_SPEED
    # A throttle serves one to three cylinders in turns, so it is no smaller than for four.
    bore = math.sqrt(4 / math.pi * area * max(1.0, 4 / sizing.count))
    volume = 1.2 * displacement if sizing.count > 1 else 2.0 * displacement
    findings.assume(
        "throttle body",
        f"{bore * 1e3:.0f} mm, 100 mm long",
        f"mean {THROTTLE_SPEED:g} m/s at {sizing.peak_power_rpm:.0f} rpm",
    )
    findings.assume(
        "plenum volume", f"{volume * 1e3:.2f} l", "1 to 1.5 times the displacement is usual"
    )
    body = _pipe(
        "throttle body",
        ("intake", "duct"),
        0.10,
        bore,
        pipe_end(OUTSIDE_AIR, "bell mouth", THROTTLE_COEFFICIENT),
        pipe_end("plenum", "flush", None),
    )
    return body, Chamber(name="plenum", side="intake", volume_m3=volume)


def exhaust_groups(count: int) -> list[list[int]]:
    """Cylinders that share a collector: at most four, halves of a larger engine apart."""
    numbers = list(range(1, count + 1))
    if count <= 4:
        return [numbers]
    size = math.ceil(count / math.ceil(count / 4)) if count != 6 else 3
    return [numbers[i : i + size] for i in range(0, count, size)]


def _typical_exhaust(sizing: Sizing, findings: Findings) -> Network:
    speed = sizing.peak_power_rpm
    primary = min(max(bell_length(speed, sizing.exhaust_opens_bbdc), 0.25), 1.1)
    bore = bell_diameter(primary, sizing.swept_m3)
    rule = f"for {speed:.0f} rpm, exhaust opens {sizing.exhaust_opens_bbdc:.0f} BBDC"
    text = f"{primary * 1e3:.0f} mm and a port of {EXHAUST_PORT_M * 1e3:.0f} mm"
    findings.assume("exhaust primary length", text, rule, BELL_SOURCE)
    findings.assume("exhaust primary diameter", f"{bore * 1e3:.1f} mm", rule, BELL_SOURCE)
    pipes: list[Pipe] = []
    chambers: list[Chamber] = []
    groups = exhaust_groups(sizing.count)
    for number, group in enumerate(groups, 1):
        more_pipes, more_chambers = _branch(group, number, len(groups), primary, bore)
        pipes += more_pipes
        chambers += more_chambers
    tail = max(p.diameter_m[0] for p in pipes)
    joined = max(len(group) for group in groups)
    findings.assume(
        "exhaust layout",
        f"{len(groups)} x {joined} into one, collector {chambers[0].volume_m3 * 1e6:.0f} cc, "
        f"tailpipe 1200 x {tail * 1e3:.0f} mm, no silencer"
        if joined > 1
        else f"{len(groups)} straight pipe, no silencer",
        "the simplest that keeps the cylinders' order",
        COMMON_PRACTICE,
    )
    return Network(pipes=tuple(pipes), chambers=tuple(chambers))


def _branch(
    group: list[int], number: int, groups: int, primary: float, bore: float
) -> tuple[list[Pipe], list[Chamber]]:
    """Primaries of one group, their collector and tailpipe; one cylinder needs no collector."""
    mark = f" {number}" if groups > 1 else ""
    collector = f"collector{mark}" if len(group) > 1 else OUTSIDE_AIR
    pipes = [
        pipe
        for n in group
        for pipe in (
            _pipe(
                f"exhaust port {n}",
                ("exhaust", "port"),
                EXHAUST_PORT_M,
                bore,
                End(node=f"exhaust valve {n}"),
                End(node=f"exhaust port {n}"),
            ),
            _pipe(
                f"exhaust primary {n}",
                ("exhaust", "runner"),
                primary,
                bore,
                End(node=f"exhaust port {n}"),
                pipe_end(collector, "flared" if len(group) > 1 else "plain end", None),
            ),
        )
    ]
    if len(group) == 1:
        return pipes, []
    tail = bore * math.sqrt(max(1.3, len(group) / 2))
    pipes.append(
        _pipe(
            f"tailpipe{mark}",
            ("exhaust", "duct"),
            1.2,
            tail,
            pipe_end(collector, "flared", None),
            pipe_end(OUTSIDE_AIR, "plain end", None),
        )
    )
    volume = COLLECTOR_PER_PIPE_M3 * len(group)
    return pipes, [Chamber(name=collector, side="exhaust", volume_m3=volume)]


def _pipe(
    name: str, place: tuple[Side, str], length_m: float, bore_m: float, start: End, end: End
) -> Pipe:
    side, role = place
    return Pipe(
        name=name,
        side=side,
        station_m=(0.0, length_m),
        diameter_m=(bore_m, bore_m),
        start=start,
        end=end,
        wall_K=pipe_wall_K(side, role),
        roughness_m=ROUGHNESS_M,
        heat_multiplier=PULSATION_ELSEWHERE if role == "duct" else PULSATION_AT_VALVE,
    )
