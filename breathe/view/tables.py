"""A comparison as a page: figures by setting and speed, findings, assumptions, cautions.

Works from the tidy table alone and leaves out what the table does not hold.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from breathe.about import About
from breathe.engine.quantities import System, from_si, user_unit, written
from breathe.study.crossings import NUMERICAL_ERROR
from breathe.view import cautions
from breathe.view.console import Grid, Item, Piece
from breathe.view.findings import against_standard, best_by_speed, neighbours, winners
from breathe.view.words import ALWAYS, QUANTITIES, Quantity

NOT_SETTLED = "n/s"
NOT_RUN = "-"
TIE = "="

_MATTERS = (
    "runner length",
    "primary length",
    "cam.",
    "valve.flow",
    "runner",
    "primary",
    "layout",
    "plenum",
    "throat",
    "compression",
    "wall",
    "burn",
    "friction",
)
"""Words in the key of an assumption, those that move the answer most first (common practice)."""


def comparison(
    table: pd.DataFrame,
    about: About,
    show: Sequence[str] = ALWAYS,
    system: System = "metric",
) -> list[Piece]:
    """The page of one comparison.

    Parameters
    ----------
    table : DataFrame
        One row per setting and speed, SI, units in the column names; may lack columns and rows.
    about : About
    show : sequence of str
        Keys of words.QUANTITIES, or 'difference'.
    system : 'metric' or 'imperial'
    """
    page: list[Piece] = [*_head(about, system), ""]
    if about.speeds_rpm and max(about.speeds_rpm) > about.speed_limit_rpm:
        page += [_over_speed(about), ""]
    for name in show:
        if name == "difference":
            page += [*_difference(table, about, system), ""]
        else:
            page += [*_figure(table, about, name, system), ""]
    page += _findings(table, about)
    page += _said(table, about)
    page += _assumptions(about)
    page += [Item(cautions.CLEARANCE), Item(cautions.LEAN), Item(cautions.KNOCK)]
    return page


def _head(about: About, system: System) -> list[Piece]:
    load = "full load" if about.throttle >= 1 else f"throttle open {about.throttle * 100:.0f} %"
    rows = tuple(
        (note.label, _degrees(note.intake_duration_deg), _degrees(note.exhaust_duration_deg), how)
        for note in about.settings
        for how in [note.how + (" (standard)" if note.label == about.standard else "")]
    )
    height = _checking_height(about, system)
    title = f"Cam settings; durations in crank degrees at {height} valve lift, lash taken off"
    header = ("setting", "intake", "exhaust", "how")
    return [
        f"{about.engine}: {len(about.settings)} cam settings at {len(about.speeds_rpm)} speeds, "
        f"{load}, outside air {_outside(about, system)}",
        "",
        Grid(title=title, header=header, rows=rows, left=frozenset({0, 3})),
    ]


def _checking_height(about: About, system: System) -> str:
    return written(about.checking_height_m, "length", system, digits=3)


def _degrees(angle: float | None) -> str:
    return "-" if angle is None else f"{angle:.0f}"


def _outside(about: About, system: System) -> str:
    pressure = written(about.outside_pressure_Pa, "barometer", system)
    return f"{pressure}, {written(about.outside_temperature_K, 'temperature', system, digits=3)}"


def _over_speed(about: About) -> str:
    above = [speed for speed in about.speeds_rpm if speed > about.speed_limit_rpm]
    return cautions.OVER_SPEED.format(count=len(above), limit=about.speed_limit_rpm)


def by_speed(table: pd.DataFrame, about: About, column: str) -> pd.DataFrame:
    """One column of the tidy table as speeds x settings, nan where not settled or not run."""
    values = pd.to_numeric(table[column], errors="coerce").astype(float)
    if "settled" in table:
        values = values.where(table["settled"].astype(bool))
    tall = table[["setting", "speed_rpm"]].assign(value=values)
    wide = tall.pivot(index="speed_rpm", columns="setting", values="value")
    labels = [note.label for note in about.settings]
    return wide.reindex(index=sorted(about.speeds_rpm), columns=labels)


def _unsettled(table: pd.DataFrame) -> set[tuple[float, str]]:
    """Cases marched to the end without repeating; those without figures are not among them."""
    if "settled" not in table:
        return set()
    failed = table[~table["settled"].astype(bool) & ~_without_figures(table)]
    return set(zip(failed["speed_rpm"].astype(float), failed["setting"], strict=True))


def _without_figures(table: pd.DataFrame) -> pd.Series:
    """Where a case could not be computed."""
    if "torque_Nm" not in table:
        return pd.Series(False, index=table.index)
    return table["torque_Nm"].isna()


def _speeds_waiting(table: pd.DataFrame, about: About) -> set[float]:
    """Speeds at which some setting is not computed yet, so that nothing wins there."""
    count = table["speed_rpm"].value_counts()
    return {speed for speed in about.speeds_rpm if count.get(speed, 0) < len(about.settings)}


def _figure(table: pd.DataFrame, about: About, name: str, system: System) -> list[Piece]:
    quantity = QUANTITIES[name]
    if quantity.column not in table:
        return [f"{quantity.title}: this run holds no such figure."]
    wide = by_speed(table, about, quantity.column)
    printed = quantity.in_user_units(wide.to_numpy(), system)
    title = _title(quantity, about, name, system)
    if not quantity.most_wins:
        rows = _rows(wide, printed, quantity.digits(printed), _unsettled(table))
        return [Grid(title=title, header=("rpm", *wide.columns), rows=tuple(map(tuple, rows)))]
    waiting = _speeds_waiting(table, about)
    best = [
        [] if speed in waiting else names
        for speed, names in zip(wide.index, winners(wide), strict=True)
    ]
    rows = _rows(wide, printed, quantity.digits(printed), _unsettled(table), best)
    rows = [[*row, _winner(names)] for row, names in zip(rows, best, strict=True)]
    return [
        Grid(
            title=f"{title}; * most, ties too",
            header=("rpm", *(f"{label} " for label in wide.columns), "most"),
            rows=tuple(map(tuple, rows)),
            tail=1,
            left=frozenset({len(wide.columns) + 1}),
        )
    ]


def _title(quantity: Quantity, about: About, name: str, system: System) -> str:
    unit = quantity.printed_unit(system)
    at = f" ({_outside(about, system)})" if name == "ve" else ""
    if name == "cr":
        at = f" at {_checking_height(about, system)} valve lift"
    return f"{quantity.title}{at}{', ' if unit else ''}{unit}"


def _rows(
    wide: pd.DataFrame,
    printed: np.ndarray,
    digits: int,
    unsettled: set[tuple[float, str]],
    best: list[list[str]] | None = None,
) -> list[list[str]]:
    rows = []
    for place, (speed, values) in enumerate(zip(wide.index, printed, strict=True)):
        row = [f"{speed:.0f}"]
        for label, value in zip(wide.columns, values, strict=True):
            text = _cell(value, digits, (float(speed), label) in unsettled)
            mark = "" if best is None else "*" if label in best[place] else " "
            row.append(text + mark)
        rows.append(row)
    return rows


def _cell(value: float, digits: int, failed: bool) -> str:
    if failed:
        return NOT_SETTLED
    return f"{value:.{digits}f}" if np.isfinite(value) else NOT_RUN


def _winner(names: list[str]) -> str:
    if len(names) <= 2:
        return f" {TIE} ".join(names) or NOT_RUN
    return f"tie of {len(names)}"


def _difference(table: pd.DataFrame, about: About, system: System) -> list[Piece]:
    torque = QUANTITIES["torque"]
    if torque.column not in table:
        return ["Difference in torque: this run holds no torque."]
    wide = by_speed(table, about, torque.column)
    others = [label for label in wide.columns if label != about.standard]
    if about.standard not in wide or not others:
        return ["Difference in torque: one setting alone has no other to differ from."]
    unit = user_unit("torque", system)
    standard = wide[about.standard].to_numpy()
    digits = torque.digits(from_si(wide.to_numpy(), "torque", unit))
    unsettled = _unsettled(table)
    rows = []
    for place, speed in enumerate(wide.index):
        row = [f"{speed:.0f}"]
        for label in others:
            ours, theirs = float(wide[label].iloc[place]), float(standard[place])
            failed = {(float(speed), label), (float(speed), about.standard)} & unsettled
            row.append(_gap(ours, theirs, unit, digits, bool(failed)))
        rows.append(tuple(row))
    title = (
        f"Difference in torque from {about.standard}, {unit}; {TIE} none found (below "
        f"{NUMERICAL_ERROR * 100:g} %)"
    )
    return [Grid(title=title, header=("rpm", *others), rows=tuple(rows))]


def _gap(ours: float, theirs: float, unit: str, digits: int, failed: bool) -> str:
    if failed:
        return NOT_SETTLED
    if not np.isfinite(ours - theirs):
        return NOT_RUN
    if abs(ours - theirs) <= NUMERICAL_ERROR * max(abs(ours), abs(theirs)):
        return TIE
    return f"{from_si(ours - theirs, 'torque', unit):+.{digits}f}"


def _findings(table: pd.DataFrame, about: About) -> list[Piece]:
    if "torque_Nm" not in table or len(table) == 0:
        return []
    if _speeds_waiting(table, about):
        return ["What was found is told when all cases are computed.", ""]
    torque = by_speed(table, about, "torque_Nm")
    told = [best_by_speed(torque), *against_standard(torque, about), *neighbours(torque, about)]
    doubt = cautions.DOUBT.format(error=NUMERICAL_ERROR * 100)
    return ["What was found", *(Item(text, indent=2) for text in told), Item(doubt, indent=2), ""]


def _said(table: pd.DataFrame, about: About) -> list[Piece]:
    """What went wrong or short in single cases, and how well the books close."""
    said = [*_missing(table, about), *_broken(table), *_not_settled(table)]
    said += [*_remarks(table), *_closure(table)]
    return [*(Item(text) for text in said), ""] if said else []


def _missing(table: pd.DataFrame, about: About) -> list[str]:
    short = len(about.settings) * len(about.speeds_rpm) - len(table)
    if short <= 0:
        return []
    told = "1 case is" if short == 1 else f"{short} cases are"
    return [f"{told} not computed yet, shown as {NOT_RUN}."]


def _broken(table: pd.DataFrame) -> list[str]:
    count = int(_without_figures(table).sum())
    if not count:
        return []
    told = "1 case has" if count == 1 else f"{count} cases have"
    return [f"{told} no figures, shown as {NOT_RUN}; a remark below says why."]


def _not_settled(table: pd.DataFrame) -> list[str]:
    failed = sorted(_unsettled(table))
    if not failed:
        return []
    worst = "; ".join(f"{speed:.0f} rpm {label}" for speed, label in failed[:4])
    return [
        f"{len(failed)} of {len(table)} cases did not settle ({worst}"
        f"{' ...' if len(failed) > 4 else ''}). They show as {NOT_SETTLED} and win nothing."
    ]


def _remarks(table: pd.DataFrame) -> list[str]:
    told: dict[str, list[str]] = {}
    for column in ("choked", "remark"):
        if column not in table:
            continue
        for _, row in table.iterrows():
            text = "flow choked" if row[column] is True else str(row[column] or "").strip()
            if text and text not in ("False", "nan", "None"):
                told.setdefault(text, []).append(f"{row['speed_rpm']:.0f} rpm {row['setting']}")
    return [
        f"{text[0].upper()}{text[1:]}: {len(where)} case{'s' if len(where) > 1 else ''} "
        f"({', '.join(where[:4])}{' ...' if len(where) > 4 else ''})."
        for text, where in told.items()
    ]


def _closure(table: pd.DataFrame) -> list[str]:
    worst = {
        name: float(np.nanmax(np.abs(pd.to_numeric(table[column], errors="coerce"))))
        for name, column in (("mass", "mass_closure"), ("energy", "energy_closure"))
        if column in table and table[column].notna().any()
    }
    if not worst:
        return []
    told = " and ".join(f"{name} {value:.0e}" for name, value in worst.items())
    return [f"Balance over the settled cycle, worst case, as a share: {told}."]


def _assumptions(about: About) -> list[Piece]:
    page: list[Piece] = []
    if about.questions:
        page += ["Questions about the engine file"]
        page += [Item(question, indent=2) for question in about.questions]
        page.append("")
    if not about.assumed:
        return page
    first = sorted(about.assumed, key=lambda one: _weight(one["key"]))[:6]
    page.append(f"Assumed for you ({len(about.assumed)} values, those that matter most first)")
    page += [Item(f"{one['key']} = {one['value']}: {one['reason']}", indent=2) for one in first]
    if len(about.assumed) > len(first):
        page.append(
            Item(f"and {len(about.assumed) - len(first)} more: `breathe explain` lists all", 2)
        )
    return [*page, ""]


def _weight(key: str) -> int:
    low = key.lower()
    return min((rank for rank, word in enumerate(_MATTERS) if word in low), default=len(_MATTERS))
