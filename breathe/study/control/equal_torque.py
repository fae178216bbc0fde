"""Settings side by side at the torque of a cell, as rows that are kept and printed."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any, Protocol

import pandas as pd

from breathe.engine.parts import Engine
from breathe.study.control.burn import savings_otherwise
from breathe.study.control.cells import AtSpeed, bmep_of
from breathe.study.control.part_load import Sweep, at_equal_torque
from breathe.study.crossings import NUMERICAL_ERROR


class CellAsked(Protocol):
    """What a cell asks for."""

    @property
    def speed_rpm(self) -> float: ...
    @property
    def load(self) -> float: ...
    @property
    def kind(self) -> str: ...
    @property
    def torque_Nm(self) -> float: ...


class Checked(Protocol):
    """How far the model, run at a cell, came off."""

    @property
    def torque_off(self) -> float: ...
    @property
    def fuel_off(self) -> float: ...


def cell_figures(
    engine: Engine,
    cell: CellAsked,
    at: Mapping[str, float],
    check: Checked | None,
    **judged: float,
) -> dict[str, float]:
    """What a cell is like, SI; nan throughout where it only holds what its neighbour wants.

    Parameters
    ----------
    engine : Engine
    cell : CellAsked
    at : mapping
        Figures of `part_load.FIGURES` at its setting.
    check : Checked, optional
    **judged : float
        Columns that stand before these, such as what the cell gives up [-].
    """
    figures = {
        **judged,
        **figures_told(engine, cell.speed_rpm, at),
        "check_torque_off": check.torque_off if check else math.nan,
        "check_fuel_off": check.fuel_off if check else math.nan,
    }
    return dict.fromkeys(figures, math.nan) if cell.kind == "too light" else figures


def figures_told(engine: Engine, speed_rpm: float, at: Mapping[str, float]) -> dict[str, float]:
    """What a setting is like, SI, from figures of `part_load.FIGURES`."""
    power = at["torque_Nm"] * speed_rpm * math.pi / 30
    return {
        "bmep_Pa": bmep_of(engine, at["torque_Nm"]),
        "bsfc_kg_per_J": at["fuel_kg_per_s"] / power,
        "vacuum_Pa": engine.air.pressure_Pa - at["manifold_pressure_Pa"],
        "throttle": math.exp(min(at["log_opening"], 0.0)),
        **{name: value for name, value in at.items() if name != "log_opening"},
    }


def side_by_side(
    engine: Engine,
    cells: Sequence[Sequence[CellAsked]],
    at_speeds: Sequence[AtSpeed],
    slower: Mapping[tuple[float, float], Sequence[float]],
) -> pd.DataFrame:
    """Every setting that was run at the torque of each part-load cell, beside the standard.

    Parameters
    ----------
    engine : Engine
    cells : (m, n) sequences of CellAsked
    at_speeds : (n,) sequence of AtSpeed
    slower : mapping
        By speed and load: fuel [kg/s] of the standard and of every setting, were burning slower.
    """
    rows: list[dict[str, Any]] = []
    for line in cells:
        for cell, at in zip(line, at_speeds, strict=True):
            if cell.kind == "part load":
                rows += _cell_rows(engine, cell, at, slower.get((cell.speed_rpm, cell.load)))
    return pd.DataFrame(rows)


def compared_sweeps(at: AtSpeed) -> list[Sweep]:
    """The standard first, then every setting that is not the standard itself."""
    return [at.standard, *(sweep for sweep in at.sweeps if sweep is not at.standard)]


def _cell_rows(
    engine: Engine, cell: CellAsked, at: AtSpeed, slower: Sequence[float] | None
) -> list[dict[str, Any]]:
    sweeps = compared_sweeps(at)
    compared = at_equal_torque(
        sweeps, at.standard, cell.torque_Nm, NUMERICAL_ERROR, _otherwise(slower, cell, at, sweeps)
    )
    rows = []
    for one, sweep in zip(compared, sweeps, strict=True):
        low, high = one.fuel_saved_band
        rows.append(
            {
                "speed_rpm": cell.speed_rpm,
                "load": cell.load,
                "setting": one.setting.label.removesuffix(" standard"),
                "standard": sweep is at.standard,
                "reached": one.reached,
                "fuel_saved": one.fuel_saved,
                "fuel_saved_low": low,
                "fuel_saved_high": high,
                **figures_told(engine, cell.speed_rpm, one.figures),
            }
        )
    return rows


def _otherwise(
    slower: Sequence[float] | None, cell: CellAsked, at: AtSpeed, sweeps: Sequence[Sweep]
) -> list[list[float]]:
    """Savings of the standard and of every setting if it burnt otherwise; empty if not run."""
    standard = at.standard.at_torque(cell.torque_Nm)
    if slower is None or standard is None:
        return []
    told: list[list[float]] = []
    for sweep, fuel in zip(sweeps, slower, strict=True):
        own = sweep.at_torque(cell.torque_Nm)
        if own is None:
            told.append([])
            continue
        saved = 1.0 - own["fuel_kg_per_s"] / standard["fuel_kg_per_s"]
        ratios = fuel / own["fuel_kg_per_s"], slower[0] / standard["fuel_kg_per_s"]
        burn = own["burn_10_90_deg"] / standard["burn_10_90_deg"]
        told.append(savings_otherwise(saved, ratios, burn))
    return told
