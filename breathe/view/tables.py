"""A comparison as a page: figures by setting and speed, findings, assumptions, cautions.

Works from the tidy table alone and leaves out what the table does not hold.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from breathe.about import About
from breathe.engine.quantities import System, from_si, user_unit, written
from breathe.study.crossings import NUMERICAL_ERROR, tied
from breathe.view import cautions
from breathe.view.burned_gas import kept_burned_gas
from breathe.view.console import Grid, Item, Piece
from breathe.view.findings import against_standard, best_by_speed, neighbours, winners
from breathe.view.gains import following
from breathe.view.marks import best_that_clears, clearance_caution, marked
from breathe.view.pushed_back import pushed_back
from breathe.view.said import NOT_RUN, NOT_SETTLED, said, unsettled
from breathe.view.unit_text import in_user_units
from breathe.view.words import ALWAYS, QUANTITIES, Quantity

TIE = "="
_MOST_DIGITS = 4

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
    against: str | None = None,
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
    against : str, optional
        Label of the setting that the others are compared with; by default the standard.
    """
    page: list[Piece] = [*_head(about, system, against), ""]
    if about.speeds_rpm and max(about.speeds_rpm) > about.speed_limit_rpm:
        page += [_over_speed(about), ""]
    compared = replace(about, standard=against or about.standard)
    for name in show:
        if name == "difference":
            page += [*_difference(table, compared, system), ""]
        else:
            page += [*_figure(table, about, name, system), ""]
    page += _findings(table, compared, system)
    told = said(table, about)
    page += [*(Item(text) for text in told), ""] if told else []
    page += assumptions(about, system)
    page += [Item(clearance_caution(about)), Item(cautions.LEAN), Item(cautions.KNOCK)]
    return marked(page, about, system)


def _head(about: About, system: System, against: str | None) -> list[Piece]:
    load = "full load" if about.throttle >= 1 else f"throttle open {about.throttle * 100:.3g} %"
    ratios = any(note.effective_compression_ratio is not None for note in about.settings)
    rows = tuple(
        (
            note.label,
            _degrees(note.intake_duration_deg),
            _degrees(note.exhaust_duration_deg),
            *([_ratio(note.effective_compression_ratio)] if ratios else []),
            in_user_units(note.how, system) + _mark(note.label, about, against),
        )
        for note in about.settings
    )
    told = " and effective compression from intake closing" if ratios else ""
    height = _checking_height(about, system)
    title = f"Cam settings; durations in crank degrees{told} at {height} valve lift, lash taken off"
    header = ("setting", "intake", "exhaust", *(["eff. CR"] if ratios else []), "how")
    how = len(header) - 1
    return [
        f"{about.engine}: {_counted(len(about.settings), 'cam setting')} at "
        f"{_counted(len(about.speeds_rpm), 'speed')}, {load}, outside air "
        f"{_outside(about, system)}",
        "",
        Grid(
            title=title, header=header, rows=rows, left=frozenset({0, how}), folds=frozenset({how})
        ),
    ]


def _counted(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"


def _mark(label: str, about: About, against: str | None) -> str:
    marks = ["standard"] if label == about.standard else []
    marks += ["compared with"] if label == against and label != about.standard else []
    return f" ({', '.join(marks)})" if marks else ""


def _checking_height(about: About, system: System) -> str:
    return written(about.checking_height_m, "length", system, digits=3)


def _degrees(angle: float | None) -> str:
    return "-" if angle is None else f"{angle:.0f}"


def _ratio(value: float | None) -> str:
    return "-" if value is None else f"{value:.2f}"


def _outside(about: About, system: System) -> str:
    pressure = written(about.outside_pressure_Pa, "barometer", system)
    return f"{pressure}, {written(about.outside_temperature_K, 'temperature', system, digits=3)}"


def _over_speed(about: About) -> str:
    above = sum(speed > about.speed_limit_rpm for speed in about.speeds_rpm)
    told = "1 of these speeds lies" if above == 1 else f"{above} of these speeds lie"
    return cautions.OVER_SPEED.format(told=told, limit=about.speed_limit_rpm)


def by_speed(table: pd.DataFrame, about: About, column: str) -> pd.DataFrame:
    """One column of the tidy table as speeds x settings, nan where not settled or not run."""
    values = pd.to_numeric(table[column], errors="coerce").astype(float)
    if "settled" in table:
        values = values.where(table["settled"].astype(bool))
    tall = table[["setting", "speed_rpm"]].assign(value=values)
    wide = tall.pivot(index="speed_rpm", columns="setting", values="value")
    labels = [note.label for note in about.settings]
    return wide.reindex(index=sorted(about.speeds_rpm), columns=labels)


def _failed(table: pd.DataFrame) -> set[tuple[float, str]]:
    """Speed and label of cases marched to the end without repeating."""
    failed = unsettled(table)
    return set(zip(failed["speed_rpm"].astype(float), failed["setting"], strict=True))


def _speeds_waiting(table: pd.DataFrame, about: About) -> set[float]:
    """Speeds at which some setting is not computed yet, so that nothing wins there."""
    count = table["speed_rpm"].value_counts()
    return {speed for speed in about.speeds_rpm if count.get(speed, 0) < len(about.settings)}


def _figure(table: pd.DataFrame, about: About, name: str, system: System) -> list[Piece]:
    quantity = QUANTITIES[name]
    if quantity.column not in table:
        return [f"{quantity.title}: this run holds no such figure."]
    title = _title(quantity, about, name, system)
    if quantity.of_setting:
        return [_one_row(table, about, quantity, title, system)]
    wide = by_speed(table, about, quantity.column)
    printed = quantity.in_user_units(wide.to_numpy(), system)
    digits = quantity.digits(printed)
    if not quantity.most_wins:
        rows = _rows(wide, printed, digits, _failed(table))
        return [Grid(title=title, header=("rpm", *wide.columns), rows=tuple(map(tuple, rows)))]
    waiting = _speeds_waiting(table, about)
    best = [
        [] if speed in waiting else names
        for speed, names in zip(wide.index, winners(wide), strict=True)
    ]
    digits = _telling_digits(wide, printed, digits, best)
    rows = _rows(wide, printed, digits, _failed(table), best)
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


def _one_row(
    table: pd.DataFrame, about: About, quantity: Quantity, title: str, system: System
) -> Grid:
    """A figure of the setting alone, the same at every speed."""
    known = table.dropna(subset=[quantity.column]).groupby("setting")[quantity.column].first()
    labels = [note.label for note in about.settings]
    values = known.reindex(labels).to_numpy(dtype=float)
    printed = quantity.in_user_units(values, system)
    digits = quantity.digits(printed)
    row = tuple(_cell(value, digits, failed=False) for value in printed)
    return Grid(title=title, header=("rpm", *labels), rows=(("any", *row),))


def _telling_digits(
    wide: pd.DataFrame, printed: np.ndarray, digits: int, best: list[list[str]]
) -> int:
    """Decimals, from ``digits`` up, at which no figure with a star looks like one without."""
    starred = np.array([[label in names for label in wide.columns] for names in best])
    while digits < _MOST_DIGITS and any(
        {f"{value:.{digits}f}" for value in row[star]}
        & {f"{value:.{digits}f}" for value in row[~star & np.isfinite(row)]}
        for row, star in zip(printed, starred, strict=True)
    ):
        digits += 1
    return digits


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
    level = np.column_stack([tied(wide[label], standard) for label in others])
    gaps = from_si(wide[others].to_numpy() - standard[:, None], "torque", unit)
    digits = torque.digits(from_si(wide.to_numpy(), "torque", unit))
    shown = gaps[np.isfinite(gaps) & ~level]
    while digits < _MOST_DIGITS and np.any(np.abs(shown) < 0.5 * 10.0**-digits):
        digits += 1
    failed = _failed(table)
    rows = []
    for speed, values, ties in zip(wide.index, gaps, level, strict=True):
        lost = (float(speed), about.standard) in failed
        row = [
            _gap(value, tie, digits, lost or (float(speed), label) in failed)
            for label, value, tie in zip(others, values, ties, strict=True)
        ]
        rows.append((f"{speed:.0f}", *row))
    title = (
        f"Difference in torque from {about.standard}, {unit}; {TIE} none found (below "
        f"{NUMERICAL_ERROR * 100:g} %)"
    )
    return [Grid(title=title, header=("rpm", *others), rows=tuple(rows))]


def _gap(value: float, tie: bool, digits: int, failed: bool) -> str:
    if failed:
        return NOT_SETTLED
    if not np.isfinite(value):
        return NOT_RUN
    return TIE if tie else f"{value:+.{digits}f}"


def _findings(table: pd.DataFrame, about: About, system: System) -> list[Piece]:
    if "torque_Nm" not in table or len(table) == 0:
        return []
    if _speeds_waiting(table, about):
        return ["What was found is told when all cases are computed.", ""]
    torque = by_speed(table, about, "torque_Nm")
    told = [
        best_by_speed(torque),
        *best_that_clears(torque, about),
        *following(torque, about.standard, system),
    ]
    told += [*against_standard(torque, about), *neighbours(torque, about)]
    if "residual_fraction" in table:
        told += kept_burned_gas(torque, by_speed(table, about, "residual_fraction"), about)
    if "pushed_back_fraction" in table:
        told += pushed_back(by_speed(table, about, "pushed_back_fraction"), about)
    doubt = cautions.DOUBT.format(error=NUMERICAL_ERROR * 100)
    return ["What was found", *(Item(text, indent=2) for text in told), Item(doubt, indent=2), ""]


def assumptions(about: About, system: System) -> list[Piece]:
    """Questions about the file, and what was assumed, each with its source."""
    page: list[Piece] = []
    if about.questions:
        quoted = " (figures as in the file, or metric)" if system == "imperial" else ""
        page += [f"Questions about the engine file{quoted}"]
        page += [Item(question, indent=2) for question in about.questions]
        page.append("")
    if not about.assumed:
        return page
    first = sorted(about.assumed, key=lambda one: _weight(one["key"]))[:6]
    page.append(f"Assumed for you ({len(about.assumed)} values, those that matter most first)")
    page += [Item(_assumption(one, system), indent=2) for one in first]
    if len(about.assumed) > len(first):
        page.append(
            Item(f"and {len(about.assumed) - len(first)} more: `breathe explain` lists all", 2)
        )
    return [*page, ""]


def _assumption(one: dict[str, str], system: System) -> str:
    value, reason = (in_user_units(one[part], system) for part in ("value", "reason"))
    return f"{one['key']} = {value}: {reason}"


def _weight(key: str) -> int:
    low = key.lower()
    return min((rank for rank, word in enumerate(_MATTERS) if word in low), default=len(_MATTERS))
