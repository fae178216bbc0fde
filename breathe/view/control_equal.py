"""Cam settings side by side at equal torque, one table a cell."""

from __future__ import annotations

from typing import Any

import numpy as np

from breathe.engine.quantities import System, from_si, user_unit
from breathe.study.control.answer import Control
from breathe.view.console import Grid, Item, Piece
from breathe.view.words import QUANTITIES

_PUBLISHED = (
    "Published beside it: up to 13 % less fuel at some points by delayed closing alone (SAE "
    "890677, 1989); 3 to 12 % with 20 to 30 % less pumping by throttle-free valve control (Hu and "
    "others, MACE 2011); tests have run closings from 0 to 110 ABDC (ASME ICEF, 2002). Abstracts."
)


def equal_torque(found: Control, system: System) -> list[Piece]:
    """Settings side by side at equal torque, one table a cell."""
    page: list[Piece] = []
    mep = user_unit("pressure difference", system)
    fuel = user_unit("specific fuel", system)
    for (load, speed), some in found.equal.groupby(["load", "speed_rpm"]):
        rows: list[tuple[str, ...]] = []
        for row in some.to_dict("records"):
            if not row["reached"]:
                most = from_si(row["bmep_Pa"], "pressure difference", mep)
                told = f"at most {most:.1f} {mep}" if np.isfinite(most) else "no case settled"
                rows.append((row["setting"], *"-" * 7, told))
                continue
            rows.append(_equal_row(row, system))
        where = f"{load / found.facts['load']['si']:g} {found.facts['load']['unit']}"
        bmep = from_si(some["bmep_Pa"].iloc[0], "pressure difference", mep)
        page.append(
            Grid(
                title=f"Equal torque, {speed:.0f} rpm, {where} (BMEP {bmep:.2f} {mep}): throttle "
                f"opening %, manifold pressure and vacuum left kPa, pumping {mep}, fuel, effective "
                "compression ratio (running closing), residual %, and fuel saved % against the "
                "standard with its throttle; its range: friction and burning 20 % either way, half "
                "the difference in burning, and the model's error",
                header=(
                    "setting", "throttle", "MAP", "vacuum", "PMEP", fuel, "CR", "resid.",
                    "saved",
                ),
                rows=tuple(rows),
                left=frozenset({0}),
            )
        )  # fmt: skip
        page.append("")
    return [*page, Item(_PUBLISHED)]


def _equal_row(row: dict[Any, Any], system: System) -> tuple[str, ...]:
    pumping = from_si(
        row["pmep_Pa"], "pressure difference", user_unit("pressure difference", system)
    )
    fuel = from_si(row["bsfc_kg_per_J"], "specific fuel", user_unit("specific fuel", system))
    digits = QUANTITIES["bsfc"].digits(np.array([fuel]))
    saved = "standard"
    if not row["standard"]:
        low, high = sorted((row["fuel_saved_low"] * 100, row["fuel_saved_high"] * 100))
        saved = f"{row['fuel_saved'] * 100:+.1f} ({low:.1f} to {high:.1f})"
    return (
        row["setting"],
        f"{row['throttle'] * 100:.1f}",
        f"{row['manifold_pressure_Pa'] / 1e3:.0f}",
        f"{row['vacuum_Pa'] / 1e3:.0f}",
        f"{pumping:.2f}",
        f"{fuel:.{digits}f}",
        f"{row['effective_compression_ratio']:.1f}",
        f"{row['residual_fraction'] * 100:.0f}",
        saved,
    )
