"""What came of each what-if: its figures over the speeds, or why there are none."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass

import numpy as np

from breathe.errors import BreatheError
from breathe.study.compare import Row
from breathe.study.plan_sheet import PlanRow

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
    told = [*row.questions, *(str(one.get(k) or "") for k in (ASKED, "remark") for one in found)]
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


def _mean(rows: Sequence[Row], name: str) -> float:
    return float(np.mean([float(row.get(name, math.nan)) for row in rows]))


def outcomes_text(found: Sequence[Outcome]) -> str:
    """All outcomes as JSON, to be kept with the run."""
    return json.dumps([asdict(one) for one in found], ensure_ascii=False)


def outcomes_from(text: str) -> tuple[Outcome, ...]:
    """The way back of `outcomes_text`.

    Raises
    ------
    BreatheError
        The text is damaged.
    """
    try:
        return tuple(
            Outcome(**{**one, "torque_Nm": tuple(one["torque_Nm"])}) for one in json.loads(text)
        )
    except (ValueError, TypeError, KeyError):
        raise BreatheError(
            "the answer kept with this run is damaged; --redo computes anew from its cases"
        ) from None
