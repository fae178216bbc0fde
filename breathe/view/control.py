"""A control map as a page: the map, what it gives up, how sure it is, limits, cautions."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from breathe.about import About
from breathe.engine.quantities import System, from_si, user_unit
from breathe.study.control.answer import Control
from breathe.study.control.map_file import decimals
from breathe.view import cautions
from breathe.view.best import ROAD_LAW, outside, over_speed
from breathe.view.console import Grid, Item, Piece
from breathe.view.control_equal import equal_torque
from breathe.view.control_found import findings
from breathe.view.control_limits import letters
from breathe.view.said import said
from breathe.view.tables import assumptions

SHOWN = {
    "saved": ("against_standard", "Saved against the standard", 1),
    "map": ("manifold_pressure_Pa", "Manifold pressure, absolute", 0),
    "vacuum": ("vacuum_Pa", "Manifold vacuum left", 0),
    "throttle": ("throttle", "Throttle opening, % of its area", 1),
    "torque": ("torque_Nm", "Torque at the crank", 0),
    "bmep": ("bmep_Pa", "Brake mean effective pressure", 1),
    "fuel": ("bsfc_kg_per_J", "Brake specific fuel consumption", 0),
    "pmep": ("pmep_Pa", "Pumping mean effective pressure", 2),
    "residual": ("residual_fraction", "Residual: burnt gas kept, % of the charge by mass", 1),
    "cr": ("effective_compression_ratio", "Effective compression ratio, running closing", 1),
    "knock": ("knock_index", "Knock index (self-ignition is estimated at 1)", 2),
    "travel": ("travel_m", "Sleeve travel", 1),
    "limits": ("held_by", "Limits that hold each cell", 0),
}
"""What may stand after ``--show``: column, words, decimals."""
_DIMENSIONS = {
    "manifold_pressure_Pa": "pressure difference",
    "vacuum_Pa": "pressure difference",
    "torque_Nm": "torque",
    "bmep_Pa": "pressure difference",
    "bsfc_kg_per_J": "specific fuel",
    "pmep_Pa": "pressure difference",
    "travel_m": "length",
}
_MEANS = {
    "intake dwell": "late closing",
    "intake phase": "turning the intake cam",
    "exhaust dwell": "longer exhaust duration",
    "exhaust phase": "turning the exhaust cam",
}
"""What a cam does for load control, by the axis that moves."""


def control_page(
    found: Control,
    rows: pd.DataFrame,
    about: About,
    system: System = "metric",
    names: Sequence[str] = (),
) -> list[Piece]:
    """The page of one map.

    Parameters
    ----------
    found : Control
    rows : DataFrame
        All cases that were run, SI.
    about : About
    system : 'metric' or 'imperial'
    names : sequence of str
        Further tables, of `SHOWN`.
    """
    page = [*_head(found, about, system), "", *notices_told(found.notices, about)]
    page += [map_grid(found), ""]
    if len(found.cells) > 1:
        page += [given_up_grid(found), "", sure_grid(found), "", saved_grid(found, about), ""]
    for name in names:
        if name != "saved":
            page += [shown_grid(found, name, system), ""]
    if len(found.equal):
        page += [*equal_torque(found, system), ""]
    if len(found.start):
        page += [*_start(found), ""]
    page += ["What was found", *(Item(text, indent=2) for text in findings(found, about, system))]
    page += [""]
    if len(moving_rows(found.change)):
        page += [change_grid(found), ""]
    return [*page, *last_words(rows, about, system, cautions_of(found))]


def notices_told(notices: Sequence[str], about: About) -> list[Piece]:
    """What stands above the tables of any map."""
    page: list[Piece] = [*(Item(text) for text in notices), ""] if notices else []
    if about.speeds_rpm and max(about.speeds_rpm) > about.speed_limit_rpm:
        page += [over_speed(about), ""]
    return page


def last_words(
    rows: pd.DataFrame, about: About, system: System, warned: Sequence[str]
) -> list[Piece]:
    """What stands below what was found of any map: cases left out, assumptions, cautions."""
    told = [*_left_out(rows), *said(_full_load(rows), about)]
    page: list[Piece] = [*(Item(text) for text in told), ""] if told else []
    return [*page, *assumptions(about, system), *(Item(text) for text in warned)]


def _full_load(rows: pd.DataFrame) -> pd.DataFrame:
    """Settled cases at full load, each once: light load is told by its limits here.

    Sweeps of part load have a case with the throttle open too, at the air ratio of part load.
    """
    if not len(rows):
        return rows
    full = rows[(rows["throttle"] >= 1.0) & rows["settled"].astype(bool)]
    richest = full.sort_values("torque_Nm", ascending=False, kind="stable")
    kept = richest.drop_duplicates(["setting", "speed_rpm"]).index
    return full.loc[full.index.isin(kept)]


def _left_out(rows: pd.DataFrame) -> list[str]:
    if not len(rows):
        return []
    bad = rows[~rows["settled"].astype(bool)]
    if not len(bad):
        return []
    named = [f"{r.speed_rpm:.0f} rpm {r.setting} at {r.throttle:.1%}" for r in bad.itertuples()]
    more = f" and {len(named) - 3} more" if len(named) > 3 else ""
    return [
        f"{len(bad)} of {len(rows)} cases did not come to repeat cycle after cycle, most at light "
        f"load, and are left out: {', '.join(named[:3])}{more} (throttle opening)."
    ]


def cautions_of(found: Control) -> list[str]:
    """What to heed before the map goes into a controller."""
    told = [_clearance(found), cautions.FALLBACK]
    if found.facts["moves"].startswith("intake"):
        told.append(cautions.LATE_CLOSING)
    return [*told, cautions.LEAN, cautions.KNOCK, cautions.VACUUM, ROAD_LAW]


def _clearance(found: Control) -> str:
    """What was and was not checked at the settings of this map."""
    clear = found.facts["clear"]
    unknown = ", ".join([*clear["unknown"], "head to wall of the pocket, sideways"])
    kept = ", ".join(clear["checked"])
    checked = f"{kept[:1].upper()}{kept[1:]}: the rules are kept at every setting of this map, "
    checked += "with the tolerances of the engine file. "
    return f"{checked if kept else ''}NOT CHECKED: {unknown}. {cautions.HAND_TURN}"


def _head(found: Control, about: About, system: System) -> list[Piece]:
    facts = found.facts
    table = found.table()
    speeds, loads = len(table.speeds_rpm), len(table.loads)
    return [
        f"{about.engine}: control map of {facts['moves']}, {speeds} speed{'s' * (speeds > 1)} x "
        f"{loads} load{'s' * (loads > 1)}, outside air {outside(about, system)}",
        Item(
            f"Full load: most torque, air ratio {facts['full_load_lambda']:.2f}. Below: least fuel "
            f"for the torque asked, air ratio {facts['part_load_lambda']:.2f} (assumed), by "
            f"{_MEANS.get(facts['moves'], facts['moves'])}, by the throttle, or by both. Spark at "
            "best torque, later where knock asks it."
        ),
    ]


def grid(found: Control, texts: list[list[str]], title: str) -> Grid:
    """Texts (m, n), loads rising, as a table with high load on top."""
    table = found.table()
    load = found.facts["load"]
    corner = f"{load['unit']} \\ rpm"
    lines = [
        (f"{point:g}", *cells) for point, cells in zip(table.loads[::-1], texts[::-1], strict=True)
    ]
    return Grid(
        title=title,
        header=(corner, *(f"{speed:g}" for speed in table.speeds_rpm)),
        rows=tuple(lines),
    )


def column(found: Control, name: str) -> list[list[Any]]:
    """One column of the cells over the axes (m, n), loads rising."""
    wide = found.cells.pivot(index="load", columns="speed_rpm", values=name)
    return [list(line) for line in wide.to_numpy()]


def map_grid(found: Control) -> Grid:
    """What each cell holds."""
    shown, load = found.facts["shown"], found.facts["load"]
    digits = decimals(found.facts["step"])
    texts = [[f"{x:.{digits}f}" for x in line] for line in column(found, "setting")]
    return grid(
        found,
        texts,
        f"{shown['name'].capitalize()}, {shown['unit']}"
        f"{', negative is earlier' if found.facts['moves'].endswith('phase') else ''}, in steps of "
        f"{found.facts['step']:g}; "
        f"load: {load['name']}, {load['unit']}",
    )


def given_up_grid(found: Control, why: str = "by smoothing and whole steps") -> Grid:
    """What each cell gives up, ``why`` in the words of its title."""
    kinds, lost = column(found, "kind"), column(found, "given_up")
    texts = [
        [_lost_text(x, kind) for x, kind in zip(xs, ks, strict=True)]
        for xs, ks in zip(lost, kinds, strict=True)
    ]
    return grid(
        found,
        texts,
        f"Given up {why}, % of fuel{_marks_told(texts, 'torque')} (below "
        f"{found.facts['tie'] * 100:g} % is a tie)",
    )


def _lost_text(share: float, kind: str) -> str:
    if not math.isfinite(share):
        return "-"
    return f"{share * 100:.1f}{'t' if 'full' in kind else ''}"


def _marks_told(texts: list[list[str]], of: str) -> str:
    """What the marks of a table mean that stand in it."""
    seen = {text[-1] for line in texts for text in line if text}
    told = [f"t full load, % of {of}"] if "t" in seen else []
    told += ["= no difference found"] if any("=" in x for line in texts for x in line) else []
    told += ["- not known"] if "-" in seen else []
    return "; " + "; ".join(told) if told else ""


SUPPORT = {"run": "", "measured": "A", "too light": "?", "not settled": "?", "above full load": "^"}


def sure_grid(found: Control) -> Grid:
    """How far each cell may be off and still be as good, and what it rests on."""
    support, flat = column(found, "support"), column(found, "as_good_deg")
    texts = [
        [
            f"±{x:.0f}{SUPPORT[word]}" if math.isfinite(x) else SUPPORT[word]
            for x, word in zip(xs, words, strict=True)
        ]
        for xs, words in zip(flat, support, strict=True)
    ]
    marks = {
        "A": "A measured on the engine",
        "?": "? no run supports it: held from the nearest load that is trusted",
        "^": "^ above full load: holds the setting of most torque",
    }
    used = [told for mark, told in marks.items() if any(mark in x for line in texts for x in line)]
    return grid(
        found,
        texts,
        "How sure: degrees crank either way that are as good to "
        f"{found.facts['tie'] * 100:g} %; {'; '.join([*used, 'others: the cell was run'])}",
    )


def saved_grid(found: Control, about: About) -> Grid:
    """Fuel saved against the standard, or torque gained at full load [%]."""
    kinds, saved = column(found, "kind"), column(found, "against_standard")
    texts = [
        [_change_text(x, kind, found.facts["tie"]) for x, kind in zip(xs, ks, strict=True)]
        for xs, ks in zip(saved, kinds, strict=True)
    ]
    return grid(
        found,
        texts,
        f"Against {about.standard} with its throttle at the same torque: fuel saved, %"
        f"{_marks_told(texts, 'torque gained')}",
    )


def _change_text(share: float, kind: str, tie: float) -> str:
    mark = "t" if "full" in kind else ""
    if not math.isfinite(share):
        return "-"
    return f"={mark}" if abs(share) <= tie else f"{share * 100:+.1f}{mark}"


def shown_grid(found: Control, name: str, system: System) -> Grid:
    """One further table, of `SHOWN`, in the user's unit."""
    if name == "limits":
        texts, meaning = letters(found)
        return grid(found, texts, f"Limits that hold each cell: {', '.join([*meaning, '. none'])}")
    where, words, digits = SHOWN[name]
    dimension = _DIMENSIONS.get(where, "")
    unit = "kPa" if where in ("manifold_pressure_Pa", "vacuum_Pa") else ""
    unit = unit or (user_unit(dimension, system) if dimension else "")
    values = np.array(column(found, where), dtype=float)
    if dimension:
        values = from_si(values, dimension, unit)
    elif "%" in words:
        values = values * 100
    texts = [[f"{x:.{digits}f}" if math.isfinite(x) else "-" for x in line] for line in values]
    return grid(found, texts, f"{words}, {unit}" if unit else words)


def _start(found: Control) -> list[Piece]:
    """The tuner's own map judged."""
    wide = found.start.pivot(index="load", columns="speed_rpm", values="given_up")
    load = found.facts["load"]
    texts = [
        [("-" if not math.isfinite(x) else f"{max(x, 0.0) * 100:.1f}") for x in line]
        for line in wide.to_numpy()
    ]
    rows = [
        (f"{point / load['si']:g}", *line)
        for point, line in zip(wide.index[::-1], texts[::-1], strict=True)
    ]
    worst = found.start.nlargest(1, "given_up").iloc[0]
    blank = int(found.start["typed"].isna().sum())
    filled = f" {blank} blank cell{'s are' if blank > 1 else ' is'} filled." if blank else ""
    return [
        Grid(
            title="Your own map against the model: what its settings give up, % of fuel, or of "
            "torque at full load; - blank",
            header=(f"{load['unit']} \\ rpm", *(f"{x:g}" for x in wide.columns)),
            rows=tuple(rows),
        ),
        Item(
            f"Most at {worst['speed_rpm']:.0f} rpm, {worst['load'] / load['si']:g} "
            f"{load['unit']}: {worst['typed']:g} typed, {worst['wanted']:.0f} wanted, "
            f"{worst['given_up'] * 100:.1f} % given up.{filled}"
        ),
    ]


def change_grid(found: Control, whose: str = "the lag") -> Grid:
    """A gear change, moment by moment."""
    load = found.facts["load"]
    digits = decimals(found.facts["step"])
    lines = [
        (
            f"{row['time_s']:.2f}",
            f"{row['speed_rpm']:.0f}",
            f"{row['load'] / load['si']:g}",
            f"{row['target']:.{digits}f}",
            f"{row['actual']:.{digits}f}",
            f"{row['torque_lost'] * 100:.1f}",
        )
        for row in _turning(found.change)
    ]
    return Grid(
        title="Gear change at full load, pedal lifted between: where the map wants the actuator, "
        f"where it is, and full-load torque lost by {whose}, %",
        header=("s", "rpm", load["unit"], "target", "actual", "lost %"),
        rows=tuple(lines),
    )


def moving_rows(change: pd.DataFrame) -> pd.DataFrame:
    """Rows while target or actual move."""
    if not len(change):
        return change
    return change[(change["target"].diff().abs() > 1e-9) | (change["actual"].diff().abs() > 1e-9)]


def _turning(change: pd.DataFrame, most: int = 14) -> list[dict[Any, Any]]:
    """Rows while target or actual move, thinned to a short table."""
    moving = moving_rows(change)
    first, last = max(moving.index[0] - 1, 0), min(moving.index[-1] + 1, len(change) - 1)
    some = change.loc[first:last]
    every = max(1, math.ceil(len(some) / most))
    worst = some.loc[[some["torque_lost"].idxmax()]]
    picked = pd.concat([some.iloc[::every], worst, some.tail(1)])
    return picked.drop_duplicates("time_s").sort_values("time_s").to_dict("records")
