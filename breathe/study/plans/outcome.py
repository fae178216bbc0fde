"""What came of each what-if: its figures over the speeds, or why there are none."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from breathe.study.compare import Row
from breathe.study.plans.sheet import PlanRow

ASKED = "questions"
"""Where a kept case holds what the reader of its engine asks back."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What came of a row."""

    number: int
    """Row of the sheet; 0 is the engine file as it is."""
    status: str
    """done, not settled, no figures, refused, failed."""
    reason: str = ""
    torque_Nm: tuple[float, ...] = ()
    """At each speed of the run; of a row with a speed of its own, at that one alone."""
    mean_torque_Nm: float = math.nan
    peak_torque_Nm: float = math.nan
    peak_torque_rpm: float = math.nan
    peak_power_W: float = math.nan
    peak_power_rpm: float = math.nan
    mean_ve: float = math.nan
    mean_bsfc_kg_per_J: float = math.nan
    knock_index: float = math.nan
    """The highest over the speeds."""
    residual: float = math.nan
    """Burnt gas kept, share of the charge, mean over the speeds."""


def outcome(
    row: PlanRow,
    keys: Sequence[str],
    rows: Mapping[str, Row],
    failures: Mapping[str, str],
) -> Outcome | None:
    """The answer of a row, or None as long as cases of it are missing."""
    failed = list(dict.fromkeys(failures[key] for key in keys if key in failures))
    if failed:
        return Outcome(number=row.number, status="failed", reason="; ".join(failed))
    if any(key not in rows for key in keys):
        return None
    found = [rows[key] for key in keys]
    told = [*row.questions, *(str(one.get(ASKED) or "") for one in found), *_remarks(found)]
    reason = "; ".join(dict.fromkeys(text for text in told if text))
    torque = np.array([float(one["torque_Nm"]) for one in found])
    if not np.isfinite(torque).all():
        return Outcome(number=row.number, status="no figures", reason=reason)
    settled = all(one["settled"] for one in found)
    power = np.array([float(one["power_W"]) for one in found])
    speeds = [float(one["speed_rpm"]) for one in found]
    top, strongest = int(torque.argmax()), int(power.argmax())
    return Outcome(
        number=row.number,
        status="done" if settled else "not settled",
        reason=reason,
        torque_Nm=tuple(float(t) for t in torque),
        mean_torque_Nm=float(torque.mean()),
        peak_torque_Nm=float(torque[top]),
        peak_torque_rpm=speeds[top],
        peak_power_W=float(power[strongest]),
        peak_power_rpm=speeds[strongest],
        mean_ve=_mean(found, "volumetric_efficiency_ambient"),
        mean_bsfc_kg_per_J=_mean(found, "bsfc_kg_per_J"),
        knock_index=max(float(one.get("knock_index", math.nan)) for one in found),
        residual=_mean(found, "residual_fraction"),
    )


def _remarks(rows: Sequence[Row]) -> list[str]:
    """What is said of single cases, with their speeds where there are others."""
    speeds: dict[str, list[str]] = {}
    for row in rows:
        if row.get("remark"):
            speeds.setdefault(str(row["remark"]), []).append(f"{float(row['speed_rpm']):g}")
    if len(rows) == 1:
        return list(speeds)
    return [f"at {', '.join(at)} rpm {remark}" for remark, at in speeds.items()]


def _mean(rows: Sequence[Row], name: str) -> float:
    return float(np.mean([float(row.get(name, math.nan)) for row in rows]))
