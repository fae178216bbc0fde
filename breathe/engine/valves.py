"""The valves of one side, with flow coefficients given, from a flow bench, or typical."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from breathe.engine.assumed import EngineClass, Filled
from breathe.engine.findings import COMMON_PRACTICE, Findings
from breathe.engine.parts import Floats, FlowCoefficients, Side, Valve
from breathe.valvetrain.opening import REVERSE_SHARE, default_coefficients, default_source

BENCH_AIR_DENSITY = 1.2
"""Air on a flow bench [kg/m3], 20 degC and 1.01 bar; its flow is taken as incompressible."""


def build_valve(
    values: Mapping[str, Any], side: Side, kind: EngineClass, findings: Findings
) -> Valve:
    """The valves of one side; what is missing follows the engine's class."""
    given = values.get(side, {}).get("valve", {})
    table = f"{side}.valve"
    filled = Filled(given, table, findings)
    count = given.get("count") or _assumed_count(values, side, kind, findings)
    head = _head_diameter(values, side, kind, filled)
    throat = 0.87 if side == "intake" else 0.84
    stem = 0.17 if count > 1 else 0.20
    seat = 0.035 if side == "intake" else 0.05
    return Valve(
        count=count,
        head_diameter_m=head,
        throat_diameter_m=filled.take(
            "throat_diameter", throat * head, "length", f"{throat:g} of the head", digits=3
        ),
        stem_diameter_m=filled.take(
            "stem_diameter", stem * head, "length", f"{stem:g} of the head", digits=2
        ),
        seat_angle_deg=filled.take("seat_angle", 45.0, "plain angle", "usual"),
        seat_width_m=filled.take(
            "seat_width", seat * head, "length", f"{seat:g} of the head", digits=2
        ),
        coefficients=_coefficients(given.get("flow", {}), side, head, count, findings),
    )


def _assumed_count(
    values: Mapping[str, Any], side: Side, kind: EngineClass, findings: Findings
) -> int:
    intake = values.get("intake", {}).get("valve", {}).get("count", kind.intake_valves)
    count = int(kind.intake_valves if side == "intake" else min(intake, 2))
    findings.assume(f"{side}.valve.count", str(count), f"typical of {kind.name}")
    return count


def _head_diameter(
    values: Mapping[str, Any], side: Side, kind: EngineClass, filled: Filled
) -> float:
    if side == "intake":
        default = kind.intake_valve_over_bore * values["engine"]["bore"]
        reason = f"{kind.intake_valve_over_bore:g} of the bore, typical of {kind.name}"
    else:
        intake = values.get("intake", {}).get("valve", {}).get("head_diameter")
        intake = intake or kind.intake_valve_over_bore * values["engine"]["bore"]
        default = kind.exhaust_over_intake_valve * intake
        reason = f"{kind.exhaust_over_intake_valve:g} of the intake valve"
    return filled.take("head_diameter", default, "length", reason, digits=3)


def _coefficients(
    flow: Mapping[str, Any], side: Side, head_m: float, count: int, findings: Findings
) -> FlowCoefficients:
    table = f"{side}.valve.flow"
    if not flow:
        usual = default_coefficients(side)
        shown = ", ".join(
            f"{c:.2f} at {x:.2f}"
            for x, c in zip(usual.lift_over_diameter[1::2], usual.forward[1::2], strict=True)
        )
        reason = "no flow-bench figures; curtain area, at lift/diameter"
        findings.assume(table, shown, reason, default_source(side))
        return usual
    forward, at = _given_curve(flow, f"[{table}]", head_m, count, findings)
    if "reverse_coefficient" in flow and len(flow["reverse_coefficient"]) == len(forward):
        reverse = np.array(flow["reverse_coefficient"])
    else:
        if "reverse_coefficient" in flow:
            found = len(flow["reverse_coefficient"])
            text = f"{found} values; expected {len(forward)}, one for each lift"
            findings.fault(f"[{table}] reverse_coefficient", text)
        reverse = REVERSE_SHARE * forward
        findings.assume(
            f"{table}.reverse_coefficient",
            f"{REVERSE_SHARE:g} of the forward one",
            "a bench sheet seldom has it",
            "from memory: both ways agree within about 10 %",
        )
    return FlowCoefficients(lift_over_diameter=at, forward=forward, reverse=reverse)


def _given_curve(
    flow: Mapping[str, Any], place: str, head_m: float, count: int, findings: Findings
) -> tuple[Floats, Floats]:
    """Forward coefficient and lift/diameter, rows sorted by lift; faults noted."""
    nothing = np.array([0.5]), np.array([0.1])
    lifts = flow.get("lift_over_diameter") or [x / head_m for x in flow.get("lift", [])]
    figures = flow.get("coefficient") or flow.get("bench_flow")
    if not lifts or not figures:
        text = "needs lift or lift_over_diameter, and coefficient or bench_flow"
        findings.fault(place, text)
        return nothing
    if len(lifts) != len(figures):
        text = f"{len(lifts)} lifts but {len(figures)} flow figures; expected one for each"
        findings.fault(place, text)
        return nothing
    order = np.argsort(lifts, kind="stable")
    at, known = np.array(lifts, dtype=float)[order], np.array(figures, dtype=float)[order]
    if at[0] <= 0 or np.any(np.diff(at) <= 0):
        findings.fault(place, "expected lifts above 0, each only once")
        return nothing
    if np.any(np.diff(lifts) < 0):
        findings.ask(place, "lifts were not in rising order; sorted")
    if "coefficient" in flow:
        return known, at
    return _from_bench(flow, place, at, known, head_m, count, findings), at


def _from_bench(
    flow: Mapping[str, Any],
    place: str,
    at: Floats,
    flow_m3_s: Floats,
    head_m: float,
    count: int,
    findings: Findings,
) -> Floats:
    """Coefficients on curtain area from flow-bench rows.

    C = Q / (n pi d L sqrt(2 dp / rho)): J. B. Heywood, Internal Combustion Engine Fundamentals,
    1988, eq. 6.13 in its incompressible limit (from memory).
    """
    pressure = flow.get("bench_pressure")
    if pressure is None:
        text = 'missing; 10, 25 or 28 inH2O? Write bench_pressure = "28 inH2O"'
        findings.fault(f"{place} bench_pressure", text)
        return np.full_like(at, 0.5)
    valves = flow.get("bench_valves", count)
    if "bench_valves" not in flow and count > 1:
        findings.assume(
            f"{place.strip('[]')}.bench_valves", str(count), "all valves open", COMMON_PRACTICE
        )
    speed = math.sqrt(2 * pressure / BENCH_AIR_DENSITY)
    coefficient: Floats = flow_m3_s / (valves * math.pi * head_m**2 * at * speed)
    for x, c in zip(at, coefficient, strict=True):
        row = f"at lift {x * head_m * 1e3:.2f} mm the coefficient on curtain area is {c:.2f}"
        slip = "one valve or two? inches or mm? l/s or cfm?"
        if c > 0.95 or c <= 0:
            findings.fault(place, f"{row}; expected at most 0.95; {slip}")
        elif c > 0.8:
            findings.ask(place, f"{row}, above the usual 0.8; {slip}")
    return coefficient
