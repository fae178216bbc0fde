"""What range of travel brings, as a page: a table for each axis, the knee and the room in words."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import pandas as pd

from breathe.about import About
from breathe.engine.quantities import System, from_si, user_unit
from breathe.study.answer import AxisNote, Reach
from breathe.study.crossings import NUMERICAL_ERROR
from breathe.view import cautions
from breathe.view.best import case_names, cautions_of, gaps_told, outside, over_speed
from breathe.view.console import Grid, Item, Piece
from breathe.view.figures import change, percent, torque_texts
from breathe.view.marks import MARK
from breathe.view.places import span, travel, what_moves
from breathe.view.said import said
from breathe.view.tables import TIE, assumptions
from breathe.view.unit_text import in_user_units

Row = Mapping[Any, Any]

MANY = 0.25
"""Share of the speeds at which no dwell must be best before that is told."""


def reach_page(
    found: Reach, rows: pd.DataFrame, about: About, system: System = "metric"
) -> list[Piece]:
    """The page of one question after range; parameters as `best_page`."""
    count = len(found.speeds_rpm)
    page: list[Piece] = [
        f"{about.engine}: what range of travel brings, {count} "
        f"speed{'' if count == 1 else 's'}, full load, outside air {outside(about, system)}",
        *(Item(text) for text in what_moves(found.axes, system)),
        *_held(found),
        "",
        *(Item(notice) for notice in found.notices),
    ]
    page += [""] if found.notices else []
    if about.speeds_rpm and max(about.speeds_rpm) > about.speed_limit_rpm:
        page += [over_speed(about), ""]
    if count == 1:
        return [*page, "At a single speed a fixed cam is as good by definition."]
    for n, axis in enumerate(found.axes):
        page += [_table(found, axis, n, system), *gaps_told(_failing(found, axis), system), ""]
    page.append("What was found")
    for n, axis in enumerate(found.axes):
        page += [Item(text, indent=2) for text in _told(found, axis, n, system)]
    page += [Item(text, indent=2) for text in (*_general(found, system), _runs(rows))]
    page.append("")
    told = said(case_names(rows, found.axes), about)
    page += [*(Item(text) for text in told), ""] if told else []
    page += assumptions(about, system)
    failing = {
        f"{axis.name} {where}" if len(found.axes) > 1 else where: gap
        for axis in found.axes
        for where, gap in _failing(found, axis).items()
    }
    texts = cautions_of(failing, found.unknown_clearances)
    return [*page, *(Item(text) for text in texts)]


def _held(found: Reach) -> list[Piece]:
    """Where the sleeve is asked to keep another point than the file has it keep."""
    if not found.held or not found.built_deg:
        return []
    return [Item(f"Asked with the {found.held} held, whatever the file's sleeve holds.")]


def _failing(found: Reach, axis: AxisNote) -> dict[str, str]:
    """Best places of ranges that do not clear at one of their ends, and the gap."""
    table, _ = _of(found, axis)
    return {
        span(axis, row["low_deg"], row["high_deg"]): row["does_not_clear"]
        for row in table.to_dict("records")
        if row["does_not_clear"]
    }


def _of(found: Reach, axis: AxisNote) -> tuple[pd.DataFrame, Row]:
    table = found.by_range[found.by_range.axis == axis.name]
    return table, found.by_axis[found.by_axis.axis == axis.name].iloc[0].to_dict()


def _table(found: Reach, axis: AxisNote, n: int, system: System) -> Grid:
    table, _ = _of(found, axis)
    length = user_unit("length", system)
    millimetres = bool(axis.deg_per_m)
    fits = millimetres and bool((table.fits != "").any())
    short = fits and bool((table.fits == "no").any() and table.law_to_fit_deg_per_m.notna().any())
    header = ["range", "best place", "gain", "per 12°"]
    header += [f"per {length}", f"travel {length}"] if millimetres else []
    header += ["fits"] if fits else []
    header += [f"°/{length}", "° play"] if short else []
    cells = []
    for row in table.to_dict("records"):
        first = row["range_deg"] == 0
        line = [
            f"{row['range_deg']:.0f}°",
            span(axis, row["low_deg"], row["high_deg"]) + (MARK if row["does_not_clear"] else ""),
            "0" if first else change(row["gain"]),
            "" if first else change(row["added_per_12_deg"]),
        ]
        if millimetres:
            line += ["" if first else _per_length(row["added_per_m"], system)]
            line += [travel(axis, row["range_deg"], system)]
        line += [row["fits"]] if fits else []
        if short:
            law = from_si(row["law_to_fit_deg_per_m"], "sleeve rate", _rate_unit(system))
            line += [_number(law, 1), _number(row["play_to_fit_deg"], 2)]
        cells.append(tuple(line))
    mean = "your weighted mean" if found.weights else "the mean"
    title = (
        f"Range of the {axis.name}: its best place, gain in {mean} over {_base(found, axis)} and "
        f"what the last 12°{f' and each {length}' if millimetres else ''} added, %; {TIE} below "
        f"{NUMERICAL_ERROR * 100:g} %"
    )
    if short:
        title += "; the law needed to fit the room, and the play in the duration then"
    built = found.built_deg[n] if found.built_deg else 0.0
    title += f". As built: {built:.0f}°" if built and millimetres else ""
    return Grid(title=title, header=tuple(header), rows=tuple(cells))


def _base(found: Reach, axis: AxisNote) -> str:
    """What the gain of a range is counted from: with several axes the others follow the best."""
    if len(found.axes) == 1:
        return "the best fixed cam"
    thing = f"{axis.side} {'sleeve' if axis.kind == 'dwell' else 'phaser'}"
    return f"the {thing} held at its best place"


def _rate_unit(system: System) -> str:
    return "deg crank/mm" if system == "metric" else "deg crank/in"


def _per_length(share_per_m: float, system: System) -> str:
    if not math.isfinite(share_per_m):
        return "-"
    per = share_per_m * (1e-3 if system == "metric" else 25.4e-3)
    return f"{per * 100:+.2f}"


def _number(value: float, digits: int) -> str:
    return f"{value:.{digits}f}" if math.isfinite(value) else "-"


def _told(found: Reach, axis: AxisNote, n: int, system: System) -> list[str]:
    table, row = _of(found, axis)
    longest = float(table.range_deg.iloc[-1])
    if change(row["whole_gain"]) == TIE:
        return [
            f"Range of the {axis.name} is not shown to be worth it: all {longest:.0f}° gain less "
            f"than {NUMERICAL_ERROR * 100:g} % in the mean over {_base(found, axis)}.",
            *_shortest_best(found, axis, row),
            *_room(axis, row, longest, _base(found, axis), system),
        ]
    return [
        f"{_knee(axis, row, longest)} {_nearly_all(axis, row, system)}",
        *_above_shortest(axis, table),
        *_shortest_best(found, axis, row),
        *_room(axis, row, longest, _base(found, axis), system),
    ]


def _knee(axis: AxisNote, row: Row, longest: float) -> str:
    thing = "sleeve" if axis.kind == "dwell" else "phaser"
    if not math.isfinite(row["knee_deg"]):
        return (
            f"The {axis.side} {thing} still pays at {longest:.0f}°: the last 12° bring more than "
            "the model's error."
            + (
                f' --up-to "{longest + 24:.0f} deg crank" asks for more.'
                if axis.kind == "dwell"
                else ""
            )
        )
    return (
        f"Past {row['knee_deg']:.0f}° of {axis.name} each 12° brings less than the model can tell "
        f"({NUMERICAL_ERROR * 100:g} %)."
    )


def _nearly_all(axis: AxisNote, row: Row, system: System) -> str:
    enough = row["nearly_all_deg"]
    share = percent(row["nearly_all_gain"] / row["whole_gain"])
    needs = ""
    if axis.deg_per_m:
        unit = user_unit("length", system)
        needs = f", {travel(axis, enough, system)} {unit} of travel"
    place = span(axis, row["nearly_all_low_deg"], row["nearly_all_high_deg"])
    return (
        f"The smallest range that gets nearly all: {enough:.0f}° ({place}{needs}), {share} of the "
        f"{change(row['whole_gain'])} %."
    )


def _above_shortest(axis: AxisNote, table: pd.DataFrame) -> list[str]:
    if axis.kind != "dwell" or not (table.low_deg > 0.5).any():
        return []
    return [
        "A range whose best place begins above the shortest duration means the same flanks, ground "
        "with so much dwell between them when the sleeve is at rest."
    ]


def _shortest_best(found: Reach, axis: AxisNote, row: Row) -> list[str]:
    """Where no dwell at all is best, a shorter lobe decides what a sleeve can bring."""
    at, speeds = int(row["shortest_best"]), len(found.speeds_rpm)
    if axis.kind != "dwell" or at < MANY * speeds:
        return []
    return [
        f"At {at} of {speeds} speeds no dwell at all is best: the lobe is long already. On a "
        f"shorter one, ground with the same flanks nearer each other ([{axis.side}.cam] duration), "
        "range may be worth more."
    ]


def _room(axis: AxisNote, row: Row, longest: float, base: str, system: System) -> list[str]:
    room = row.get("room_m", math.nan)
    if axis.kind != "dwell" or not axis.deg_per_m:
        return []
    if room is None or not math.isfinite(room):
        return [
            f"Whether it fits is not known: the file has no [{axis.side}.shaft_room] (gap between "
            "bearings, lobes, what is fixed)."
        ]
    added_up = in_user_units(str(row["room_sum"]), system)
    if room <= 0:
        return [f"No room for any travel along the {axis.side} shaft: {added_up}."]
    told = [f"Room along the {axis.side} shaft: {added_up}. {_laws(row, longest, system)}"]
    gain, whole = row["inside_gain"], row["whole_gain"]
    place = span(axis, row["inside_low_deg"], row["inside_high_deg"])
    told.append(
        f"Best choice within {_length(room, system)} at this law: {place}, a range of "
        f"{row['inside_deg']:.0f}°, gains {change(gain)} % over {base}, "
        f"{percent(gain / whole)} of what {'' if gain < whole else 'even '}the longest range does."
        if change(gain) != TIE
        else f"Within {_length(room, system)} at this law no range is shown to be worth it."
    )
    return told


def _laws(row: Row, longest: float, system: System) -> str:
    """What the room holds at this law and a steeper one, and the play that comes with each."""
    law, steeper = (_law(row[key], system) for key in ("law_deg_per_m", "steeper_law_deg_per_m"))
    if row["room_deg"] >= longest - 1e-6:
        return f"That is {row['room_deg']:.0f}° at the sleeve's {law}, enough for every range here."
    told = (
        f"That is {row['room_deg']:.0f}° at the sleeve's {law}; a steeper law of {steeper} would "
        f"make it {row['steeper_room_deg']:.0f}°"
    )
    if math.isfinite(row["play_deg"]):
        play = row["axial_play_m"]
        named = f"play of {_length(play, system, 2)} along the shaft" if play else "the play"
        told += (
            f", and {named} is {row['steeper_play_deg']:.2f}° of duration then instead of "
            f"{row['play_deg']:.2f}°"
        )
    else:
        told += (
            f"; what play costs is not known without [{row['axis'].split()[0]}.sleeve] axial_play"
        )
    return f"{told}. The axial force, which grows with the law, is not computed here."


def _law(deg_per_m: float, system: System) -> str:
    unit = _rate_unit(system)
    return f"{from_si(deg_per_m, 'sleeve rate', unit):.1f}°/{unit.rsplit('/', 1)[1]}"


def _length(value_m: float, system: System, digits: int = 1) -> str:
    unit = user_unit("length", system)
    more = 0 if system == "metric" else 1
    return f"{from_si(value_m, 'length', unit):.{digits + more}f} {unit}"


def _mean(found: Reach, system: System) -> str:
    """Torque itself, to set beside that of another question."""
    told, unit = [], user_unit("torque", system)
    for axis in found.axes:
        table, _ = _of(found, axis)
        none, whole = torque_texts(table[["weighted_Nm"]].iloc[[0, -1]], system)["weighted_Nm"]
        told.append(f"{none} {unit} with no range of {axis.name}, {whole} {unit} with all of it")
    return f"Mean torque: {'; '.join(told)}."


def _general(found: Reach, system: System) -> list[str]:
    told = [_mean(found, system)]
    if found.left_out_rpm:
        where = ", ".join(f"{speed:.0f}" for speed in found.left_out_rpm)
        told.append(f"Left out, for want of cases that settled: {where} rpm.")
    if len(found.axes) > 1:
        told.append(
            "Each range is judged with the rest of the gear free to follow the best at every "
            "speed, and marked where it does not clear with the rest at the best fixed place. "
            "What all of it together gains over the best fixed cam, `breathe best` tells."
        )
    if not found.built_deg:
        told.append(
            "The file has no sleeve: one is imagined on the intake cam as it stands, so only "
            "degrees are told; travel needs the sleeve's law, [intake.sleeve] rate."
        )
    for axis in found.axes if found.built_deg else ():
        if axis.kind == "dwell" and not axis.deg_per_m:
            told.append(
                f"Only degrees are told: [{axis.side}.sleeve] has no rate, so what travel they "
                "take and whether it fits is left blank."
            )
    return [*told, cautions.DOUBT.format(error=NUMERICAL_ERROR * 100)]


def _runs(rows: pd.DataFrame) -> str:
    return f"Model runs: {len(rows)}, those of earlier searches among them."
