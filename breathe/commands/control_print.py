"""Write the files of a control map, prove them, and print its page."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

from breathe.errors import BreatheError
from breathe.runs import Run
from breathe.study.control_answer import Control
from breathe.study.map_file import (
    Proof,
    Table,
    csv_text,
    json_text,
    prove,
    read_back,
    write_map,
)
from breathe.version import VERSION
from breathe.view.console import Item, Piece


def print_map(run: Run, typed: dict[str, Any], names: tuple[str, ...]) -> None:
    """Write what is to be written, then print the page."""
    from breathe.commands.searching import print_answer

    told: list[Piece] = []
    if typed["write"]:
        found = Control.from_json(run.answer() or "")
        told = [
            Item(line)
            for path in typed["write"]
            for line in written(found, run, path, typed["rows"], typed["decimal_comma"],
                                overwrite=typed["overwrite"])
        ]  # fmt: skip
    print_answer(run, typed["units"], csv=typed["csv"], names=names, told=told)


def written(
    found: Control, run: Run, path: Path, rows: Any, decimal_comma: bool, *, overwrite: bool
) -> list[str]:
    """Write one file, read it back from the disk, prove it; a file that fails is taken away.

    Raises
    ------
    BreatheError
        It cannot be written, or look-up of it leaves the safe range.
    """
    table = found.table()
    comma = decimal_comma and path.suffix.lower() == ".csv"
    if path.suffix.lower() == ".csv":
        text = csv_text(table, rows, decimal_comma=comma)
    else:
        text = json_text(table, _facts(found, run, table), rows)
    write_map(path, text, replace=overwrite)
    again = read_back(path.read_text(encoding="utf-8"), table, decimal_comma=comma)
    proof = _proof(found, again)
    same = again.values.shape == table.values.shape and np.allclose(
        again.values, table.values, atol=1e-6
    )
    if not proof.holds or not same:
        path.unlink(missing_ok=True)
        raise BreatheError(
            f"{path}: taken away again: read back, it gives {proof.lowest:g} to "
            f"{proof.highest:g}, and {proof.safe_low:g} to {proof.safe_high:g} is safe"
        )
    return [
        f"Written: {path} ({rows}, {again.values.shape[0]} loads x {again.values.shape[1]} "
        f"speeds). Read back and looked up at {proof.looked_up} places, beyond the edges too and "
        f"in whole steps rounded down, to the nearest and up: {proof.lowest:g} to "
        f"{proof.highest:g} {table.unit}, never outside the safe {proof.safe_low:g} to "
        f"{proof.safe_high:g}; whole steps stray by up to {proof.rounding_worst:.2g} "
        f"{table.unit}. Outside the axes: hold the edge."
    ]


def _proof(found: Control, table: Table) -> Proof:
    safe = sorted(found.facts["safe"])
    low, high = found.table("low").values, found.table("high").values
    return prove(table, (safe[0], safe[1]), low, high)


def _facts(found: Control, run: Run, table: Table) -> dict[str, Any]:
    """What goes into the file beside the table."""
    facts, act = found.facts, found.facts["actuator"]
    proof = _proof(found, table)
    return {
        "engine": {
            "name": run.about.engine,
            "file": run.about.source_file,
            "fingerprint": facts["engine_fingerprint"],
            "speed_limit_rpm": run.about.speed_limit_rpm,
        },
        "data": {"fingerprint": facts["data_fingerprint"], "model_runs": facts["model_runs"]},
        "made_by": f"breathe {VERSION}",
        "date": datetime.now().astimezone().isoformat(timespec="seconds"),
        "safe_range": {"low": min(facts["safe"]), "high": max(facts["safe"]), "unit": table.unit},
        "limits": facts["limits"],
        "limits_units": "speeds in rpm, loads in SI (Pa, or share of opening); residual share, "
        "vacuum in Pa, slew in deg crank per rpm",
        "clearance": facts["clear"],
        "fallback": {"value": facts["fallback"]["shown"], "unit": table.unit},
        "actuator": {
            "slew_deg_per_s": act["slew_deg_per_s"],
            "hysteresis_deg": act["hysteresis_deg"],
            "deg_crank_per_mm": facts["deg_per_mm"] or None,
            "zero": facts["shown"]["zero"],
        },
        "air_ratio": {
            "part_load": facts["part_load_lambda"],
            "full_load": facts["full_load_lambda"],
        },
        "given_up_share": _lines(found, "given_up"),
        "as_good_deg": _lines(found, "as_good_deg"),
        "supported_by": _lines(found, "support"),
        "order_of_these": "load rising, speed rising",
        "proof": {"lowest": proof.lowest, "highest": proof.highest, "holds": proof.holds},
        "cautions": [
            "An estimate, not a clearance check.",
            "Correct the fuel before load: the air changes with the cam.",
            "Spark made for one setting is wrong for another.",
        ],
    }


def _lines(found: Control, column: str) -> list[list[Any]]:
    wide = found.cells.pivot(index="load", columns="speed_rpm", values=column)
    return [[_plain(x) for x in line] for line in wide.to_numpy()]


def _plain(value: Any) -> Any:
    if isinstance(value, str):
        return value
    return round(float(value), 5) if np.isfinite(value) else None
