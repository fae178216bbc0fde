"""The best setting at each speed as a page: places, torque of three cams, gains, steps."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from breathe.about import About
from breathe.engine.quantities import System, from_si, user_unit, written
from breathe.study.answer import AxisNote, Best
from breathe.study.crossings import NUMERICAL_ERROR
from breathe.view import cautions
from breathe.view.best_found import findings
from breathe.view.best_settings import settings_tables
from breathe.view.clearing import clearing_grid
from breathe.view.console import Grid, Item, Piece
from breathe.view.figures import change, percent, torque_texts
from breathe.view.marks import MARK
from breathe.view.places import in_words, listed, place_of, what_moves
from breathe.view.said import said
from breathe.view.tables import TIE, assumptions
from breathe.view.turned import turned_gaps, turned_grid, with_turn
from breathe.view.unit_text import in_user_units

ROAD_LAW = (
    "Road: a changed cam can void type approval, emission test and insurance. What is legal where "
    "you live, this cannot say."
)


def best_page(
    found: Best, rows: pd.DataFrame, about: About, system: System = "metric"
) -> list[Piece]:
    """The page of one search.

    Parameters
    ----------
    found : Best
    rows : DataFrame
        All cases that were run, SI.
    about : About
    system : 'metric' or 'imperial'
    """
    page: list[Piece] = [*_head(found, about, system), ""]
    page += [Item(f"{notice}") for notice in found.notices]
    page += [""] if found.notices else []
    if about.speeds_rpm and max(about.speeds_rpm) > about.speed_limit_rpm:
        page += [over_speed(about), ""]
    failing = {where: gap for where, gap in _failing(found) if gap}
    if not found.axes and found.settings_in_file == 1:
        return [*page, *_only(found, rows, about, failing, system)]
    page += [*settings_tables(found, system), *gaps_told(failing, system), ""] if found.axes else []
    page += clearing_grid(found, system)
    page += [_three_cams(found, about, system)]
    page += [*([] if found.axes else gaps_told(failing, system)), ""]
    if found.speeds > 1:
        page += [*_means(found, system), ""]
        page += turned_grid(found, system)
        page += _steps(found, system)
    page += ["What was found", *(Item(text, indent=2) for text in findings(found, about, system))]
    page += [Item(_runs(found, rows), indent=2), ""]
    told = said(case_names(rows, with_turn(found)), about)
    page += [*(Item(text) for text in told), ""] if told else []
    page += assumptions(about, system)
    return [*page, *(Item(text) for text in cautions_of(failing, found.unknown_clearances))]


def _only(
    found: Best, rows: pd.DataFrame, about: About, failing: Mapping[str, str], system: System
) -> list[Piece]:
    """All there is to say of a fixed cam that stands alone."""
    torque = torque_texts(found.by_speed[["torque_Nm"]], system)["torque_Nm"]
    speeds = [f"{speed:.0f}" for speed in found.by_speed.speed_rpm]
    grid = Grid(
        title=f"Torque at the crank, {user_unit('torque', system)}",
        header=("rpm", about.standard),
        rows=tuple(zip(speeds, torque, strict=True)),
    )
    hints = (
        "Other cams are compared once they stand in the file: a lobe ground longer or shorter "
        "(stretch) or moved (shift) as a [[setting]], another cam as [[other_cam]].",
        'What a sleeve on the intake cam would bring is asked with `breathe reach --up-to "60 deg '
        'crank"`; a sleeve or phaser there is, is written as [intake.sleeve], [intake.phaser].',
        f"Model runs: {len(rows)}.",
    )
    page: list[Piece] = [grid, *gaps_told(failing, system), "", "What was found"]
    page += [*(Item(text, indent=2) for text in hints), ""]
    told = said(rows, about)
    page += [*(Item(text) for text in told), ""] if told else []
    page += assumptions(about, system)
    return [*page, *(Item(text) for text in cautions_of(failing, found.unknown_clearances))]


def _failing(found: Best) -> list[tuple[str, str]]:
    """Places of the page and the gap that fails there."""
    places = [
        (
            in_words(found.axes, [row[f"{axis.column}_deg"] for axis in found.axes])
            if found.axes
            else str(row["setting"]).partition(",")[0],
            row["does_not_clear"],
        )
        for row in found.by_speed.to_dict("records")
    ]
    fixed = (fixed_name(found), found.fixed_does_not_clear)
    return [*places, fixed, *turned_gaps(found)]


def case_names(rows: pd.DataFrame, axes: Sequence[AxisNote]) -> pd.DataFrame:
    """The cases with their places named as the page names them; the last axes may be left out."""

    def named(label: object) -> str:
        try:
            place = [float(part) for part in str(label).split()]
        except ValueError:
            return str(label)
        return in_words(axes[: len(place)], place) if len(place) <= len(axes) else str(label)

    return rows.assign(setting=[named(label) for label in rows["setting"]]) if len(rows) else rows


def cautions_of(failing: Mapping[str, str], unknown: Sequence[str] | None) -> list[str]:
    """Those of a page that recommends other durations.

    Parameters
    ----------
    failing : mapping
        Places that do not clear, and the gap.
    unknown : sequence of str or None
        What of the clearances could not be checked; None where none could.
    """
    return [_clearance(failing, unknown), cautions.LEAN, cautions.KNOCK, ROAD_LAW]


def _clearance(failing: Mapping[str, str], unknown: Sequence[str] | None) -> str:
    if unknown is None:
        return cautions.CLEARANCE
    not_checked = ", ".join([*unknown, "head to wall of the pocket, sideways"])
    checked = ""
    if failing:
        checked = f"Do not build {listed(list(failing))}: see {MARK} above. "
    elif not unknown:
        checked = "Valve to piston and valve to valve: no gap of the places named is too small. "
    return (
        f"{checked}NOT CHECKED: {not_checked}; `breathe check` has figures and missing keys. "
        f"{cautions.HAND_TURN}"
    )


def gaps_told(failing: Mapping[str, str], system: System) -> list[Piece]:
    """What each mark of a table means."""
    return [
        Item(f"{MARK} {place} does not clear: {in_user_units(gap, system)}")
        for place, gap in failing.items()
    ]


def over_speed(about: About) -> str:
    """That some speeds asked for lie above the limit."""
    above = sum(speed > about.speed_limit_rpm for speed in about.speeds_rpm)
    told = "1 of these speeds lies" if above == 1 else f"{above} of these speeds lie"
    return cautions.OVER_SPEED.format(told=told, limit=about.speed_limit_rpm)


def outside(about: About, system: System) -> str:
    """Pressure and temperature of the outside air."""
    pressure = written(about.outside_pressure_Pa, "barometer", system)
    return f"{pressure}, {written(about.outside_temperature_K, 'temperature', system, digits=3)}"


def _head(found: Best, about: About, system: System) -> list[Piece]:
    count = f"{found.speeds} speed{'' if found.speeds == 1 else 's'}"
    first = (
        f"{about.engine}: best setting at {count}, full load, outside air {outside(about, system)}"
    )
    if found.axes:
        return [first, *(Item(text) for text in what_moves(found.axes, system))]
    still = "Nothing moves: the file has no sleeve and no phaser. " + (
        f"Its {found.settings_in_file} settings are ranked as fixed cams, beside a gear that could "
        "step between them."
        if found.settings_in_file > 1
        else "It has one setting, so there is nothing to choose from."
    )
    return [first, Item(still)]


def fixed_name(found: Best) -> str:
    """The best fixed cam in words."""
    if found.axes:
        return in_words(found.axes, found.fixed_place_deg)
    return str(found.cams[found.cams.role == "fixed"].label.iloc[0])


def _three_cams(found: Best, about: About, system: System) -> Grid:
    table = found.by_speed
    names = ["standard_torque_Nm", "fixed_torque_Nm", "torque_Nm"]
    texts = torque_texts(table[names], system)
    best = [] if found.axes else [list(table["setting"])]
    rows = [
        (
            f"{row['speed_rpm']:.0f}",
            *(texts[name][n] for name in names),
            change(row["torque_Nm"] / row["fixed_torque_Nm"] - 1),
            change(row["torque_Nm"] / row["standard_torque_Nm"] - 1),
            *(column[n] for column in best),
        )
        for n, row in enumerate(table.to_dict("records"))
    ]
    variable = "variable" if found.axes else "stepped"
    header = ("rpm", "standard", "best fixed", variable, "over fixed", "over std", "of")[
        : 6 + len(best)
    ]
    title = (
        f"Torque at the crank, {user_unit('torque', system)}, of the standard cam "
        f"({about.standard}), the best fixed one ({fixed_name(found)}) and the {variable} one, and "
        f"what that gains, %; {TIE} none found"
    )
    return Grid(
        title=title, header=header, rows=tuple(rows), left=frozenset({6}), folds=frozenset({6})
    )


def _means(found: Best, system: System) -> list[Piece]:
    """Three cams, or a ranking, with means and peak power, and the gain over each."""
    order = found.cams if not found.axes else _ordered(found.cams)
    weighted = ["weighted_Nm"] if found.weights else []
    torque = torque_texts(order[["mean_Nm", *weighted]], system)
    power = from_si(order.peak_power_W.to_numpy(), "power", user_unit("power", system))
    rows, gains = [], []
    for n, row in enumerate(order.to_dict("records")):
        name = cam_name(found, row)
        rows.append(
            (
                name,
                torque["mean_Nm"][n],
                *(torque[column][n] for column in weighted),
                f"{power[n]:.1f}",
                f"{row['peak_power_rpm']:.0f}",
            )
        )
        if row["role"] != "variable":
            gains.append(
                (
                    name,
                    change(row["gain_mean"]),
                    *([change(row["gain_weighted"])] if weighted else []),
                    change(row["gain_peak_power"]),
                    f"{change(row['gain_most'])} at {row['gain_most_rpm']:.0f}",
                    f"{change(row['gain_least'])} at {row['gain_least_rpm']:.0f}",
                )
            )
    mean = "mean " + user_unit("torque", system)
    head = ["weighted"] if weighted else []
    first = Grid(
        title=f"Mean torque over the {found.speeds} speeds, each counting the same, and peak power"
        + (f"; weighted: {found.weights}" if weighted else ""),
        header=("cam", mean, *head, "peak " + user_unit("power", system), "at rpm"),
        rows=tuple(rows),
        left=frozenset({0}),
        folds=frozenset({0}),
    )
    second = Grid(
        title=f"What the {'variable' if found.axes else 'stepped'} cam gains over each, %, to "
        f"about ±{NUMERICAL_ERROR * 100:g} by the model's own error; {TIE} none found",
        header=("over", "in the mean", *head, "peak power", "most, at rpm", "least, at rpm"),
        rows=tuple(gains),
        left=frozenset({0}),
        folds=frozenset({0}),
    )
    return [first, "", second]


def _ordered(cams: pd.DataFrame) -> pd.DataFrame:
    rank = {"standard": 0, "other": 1, "fixed": 2, "variable": 3}
    return cams.sort_values("role", key=lambda role: role.map(rank), kind="stable")


def cam_name(found: Best, row: Mapping[Any, Any]) -> str:
    """A row of `Best.cams` as the page calls it."""
    role, label = row["role"], str(row["label"])
    if role == "variable":
        return "variable" if found.axes else "stepped"
    if role == "fixed":
        return f"best fixed ({fixed_name(found)})"
    return f"{label} (standard)" if role == "standard" else label


def _steps(found: Best, system: System) -> list[Piece]:
    if not len(found.steps):
        return []
    rows = []
    for (count, order), stretches in found.steps.groupby(["steps", "order"]):
        records = stretches.to_dict("records")
        mean = torque_texts(stretches[["weighted_Nm"]], system)["weighted_Nm"][0]
        share = percent(records[0]["share_of_gain"])
        named = f"{count}" if order == "free" else f"{count} in order"
        rows.append((named, mean, share, step_words(found, records)))
    title = (
        f"Two or three fixed steps instead: {'weighted ' if found.weights else ''}mean torque, "
        f"{user_unit('torque', system)}, and how much of the gain over the best fixed cam they get"
    )
    if (found.steps.order != "free").any():
        title += "; in order: each step used over one stretch of speeds"
    words = frozenset({3})
    header = ("steps", "mean", "of the gain", "which, up to about which rpm")
    return [
        Grid(title=title, header=header, rows=tuple(rows), left=words | {0}, folds=words),
        "",
    ]


def step_words(found: Best, stretches: Sequence[Mapping[Any, Any]]) -> str:
    """Such as '220° to about 7200, then 268°'."""
    parts = []
    for n, row in enumerate(stretches):
        name = (
            in_words(found.axes, place_of(row, found.axes)) if found.axes else str(row["setting"])
        )
        until = (
            f" to about {round(stretches[n + 1]['switch_rpm'] / 50) * 50:.0f}"
            if n + 1 < len(stretches)
            else ""
        )
        parts.append(f"{name}{until}")
    return ", then ".join(parts)


def _runs(found: Best, rows: pd.DataFrame) -> str:
    return (
        f"Model runs: {len(rows)}. `breathe compare` over the file's {found.settings_in_file} "
        f"settings would take {found.settings_in_file * (found.speeds + len(found.left_out_rpm))}."
    )
