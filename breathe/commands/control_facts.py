"""What a written map says beside its cells: limits, fallback, actuator, prints of what made it.

Everything stands in the units of the table, and lists of cells in the order of its own rows.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

import numpy as np

from breathe.run import Run
from breathe.study.control.answer import Control
from breathe.study.control.map_file import Proof, Rows, Table, proof_facts
from breathe.version import VERSION


def made_of(facts: dict[str, Any], run: Run, **data: Any) -> dict[str, Any]:
    """Where a file's figures come from; ``data`` is told beside the model runs."""
    return {
        "engine": {
            "name": run.about.engine,
            "file": run.about.source_file,
            "fingerprint": facts["engine_fingerprint"],
            "speed_limit_rpm": run.about.speed_limit_rpm,
        },
        "data": {
            "fingerprint": facts["data_fingerprint"],
            "model_runs": facts["model_runs"],
            **data,
        },
        "made_by": f"breathe {VERSION}",
        "date": datetime.now().astimezone().isoformat(timespec="seconds"),
    }


def file_facts(found: Control, run: Run, table: Table, proof: Proof, rows: Rows) -> dict[str, Any]:
    """What goes into a JSON file beside the table; plain values."""
    facts, (low, high) = found.facts, proof.output_limits(table.step)
    measured = [_measured(one, facts["load"]["si"]) for one in facts["anchors"]]
    return {
        **made_of(facts, run, measured=measured),
        "safe_range": {
            "low": low,
            "high": high,
            "unit": table.unit,
            "use": "set these as the controller's output limits",
        },
        "limits": [_limit(one, table, facts["load"]["si"]) for one in facts["limits"]],
        "limit_cells": f"[rpm, {table.load_unit}]",
        "clearance": _clearance(facts),
        "fallback": _fallback(facts),
        "actuator": _actuator(facts),
        "moves": facts["moves"],
        "stands_deg_crank": facts["stands_deg"],
        "air_ratio": {
            "part_load": facts["part_load_lambda"],
            "full_load": facts["full_load_lambda"],
        },
        "given_up_share": _lines(found, table, "given_up", rows),
        "as_good_deg_crank": _lines(found, table, "as_good_deg", rows),
        "supported_by": _lines(found, table, "support", rows),
        "order_of_these": "that of values",
        "proof": proof_facts(proof),
        "cautions": _cautions(facts),
    }


def _measured(one: dict[str, Any], per: float) -> dict[str, Any]:
    return {
        "rpm": one["speed_rpm"],
        "load": round(one["load"] / per, 6),
        "measured": round(one["measured"], 6),
        "map": round(one["map"], 6),
    }


def _limit(one: dict[str, Any], table: Table, per: float) -> dict[str, Any]:
    """A limit in the units of the table."""
    name, value, unit = one["limit"], one["value"], table.unit
    if name in ("travel", "clearance"):
        value = [round(end, 3) for end in value]
    elif name in ("residual", "knock", "burning"):
        unit = {"residual": "share of the charge by mass", "knock": "index"}.get(name, "")
    elif name == "vacuum":
        value, unit = round(value / 1e3, 6), "kPa"
    elif name == "slew":
        unit = "deg crank per rpm"
    elif name == "slew over load":
        value, unit = value * per, f"deg crank per {table.load_unit}"
    told = {"limit": name, "value": value, "unit": unit}
    for cells in ("binds", "not_kept"):
        if cells in one:
            told[cells] = [[speed, round(load / per, 6)] for speed, load in one[cells]]
    return told


def _clearance(facts: dict[str, Any]) -> dict[str, Any]:
    clear, zero, per_deg = facts["clear"], facts["shown"]["zero"], facts["shown"]["per_deg"]
    told = {"checked": clear["checked"], "not_checked": clear["unknown"]}
    if clear["checked"]:
        told |= {
            "clears_from": round(zero + clear["low_deg"] * per_deg, 3),
            "clears_to": round(zero + clear["high_deg"] * per_deg, 3),
            "unit": facts["shown"]["unit"],
            "beyond": clear["beyond"],
        }
    return told


def _fallback(facts: dict[str, Any]) -> dict[str, Any]:
    """The place without power, also in millimetres where a sleeve moves."""
    value, per_mm = facts["fallback"]["shown"], facts["deg_per_mm"]
    told = {"value": value, "unit": facts["shown"]["unit"]}
    if per_mm:
        degrees = (value - facts["shown"]["zero"]) / facts["shown"]["per_deg"]
        told["travel_mm"] = round(degrees / per_mm, 6)
    return told


def _actuator(facts: dict[str, Any]) -> dict[str, Any]:
    act, per_mm = facts["actuator"], facts["deg_per_mm"]
    told = {
        "slew_deg_crank_per_s": act["slew_deg_per_s"],
        "hysteresis_deg_crank": act["hysteresis_deg"],
    }
    if per_mm:
        told |= {
            "slew_mm_per_s": round(act["slew_deg_per_s"] / per_mm, 6),
            "hysteresis_mm": round(act["hysteresis_deg"] / per_mm, 6),
            "deg_crank_per_mm": per_mm,
            "cell_at_no_travel": facts["shown"]["zero"],
        }
    return told


def _cautions(facts: dict[str, Any]) -> list[str]:
    unknown = facts["clear"]["unknown"]
    not_checked = [f"NOT CHECKED for clearance: {', '.join(unknown)}."] if unknown else []
    return [
        *not_checked,
        "An estimate, not a clearance check: turn the engine over by hand at both ends.",
        "Correct the fuel before load: the air changes with the cam.",
        "Spark made for one setting is wrong for another.",
    ]


def _lines(found: Control, table: Table, column: str, rows: Rows) -> Sequence[Sequence[Any]]:
    """One column of the cells, in the order of the table's own rows."""
    wide = found.cells.pivot(index="load", columns="speed_rpm", values=column).to_numpy()
    _, _, lines = replace(table, values=wide).oriented(rows)
    return [[_plain(x) for x in line] for line in lines]


def _plain(value: Any) -> Any:
    if isinstance(value, str):
        return value
    return round(float(value), 5) if np.isfinite(value) else None
