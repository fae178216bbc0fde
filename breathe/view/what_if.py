"""What-ifs as a page and as a sheet: ranking, rows not run, which input mattered."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import pandas as pd

from breathe.about import About
from breathe.engine.quantities import System, from_si, user_unit, written
from breathe.study.crossings import NUMERICAL_ERROR
from breathe.study.plans.kept import Tried
from breathe.study.plans.outcome import Outcome
from breathe.study.plans.rank import Influence, influence, ranks
from breathe.study.plans.sheet import Plan
from breathe.view import cautions
from breathe.view.console import Grid, Item, Piece
from breathe.view.figures import change
from breathe.view.tables import TIE, assumptions
from breathe.view.what_if_rows import alike, remarked, told_alike, without_place


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """An answer a plan can be ranked by."""

    field: str
    """Of `Outcome`, SI."""
    words: str
    dimension: str = ""
    most: bool = True
    """Whether more is better."""
    digits: int = 1

    def unit(self, system: System) -> str:
        return user_unit(self.dimension, system) if self.dimension else ""

    def value(self, one: Outcome, system: System) -> float:
        """In the user's unit."""
        found = float(getattr(one, self.field))
        return from_si(found, self.dimension, self.unit(system)) if self.dimension else found

    def title(self, system: System) -> str:
        unit = self.unit(system)
        return f"{self.words} [{unit}]" if unit else self.words


FIGURES: dict[str, Figure] = {
    "torque": Figure(field="mean_torque_Nm", words="mean torque", dimension="torque"),
    "peak-torque": Figure(field="peak_torque_Nm", words="peak torque", dimension="torque"),
    "power": Figure(field="peak_power_W", words="peak power", dimension="power"),
    "ve": Figure(field="mean_ve", words="mean VE", dimension="share"),
    "residual": Figure(field="residual", words="mean residual", dimension="share", most=False),
    "bsfc": Figure(
        field="mean_bsfc_kg_per_J",
        words="mean BSFC",
        dimension="specific fuel",
        most=False,
        digits=0,
    ),
    "knock": Figure(field="knock_index", words="highest knock index", most=False, digits=2),
}
"""What may stand after ``--by``."""
_MATTERS = 0.05
"""Share of the spread from which two inputs acting together are told."""
_BESIDE = ("torque", "peak-torque", "power", "ve", "knock")
"""Printed beside the inputs."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """All that a page of what-ifs tells."""

    tried: Tried
    about: About
    influence: Influence
    by: str = "torque"

    @property
    def plan(self) -> Plan:
        return self.tried.plan

    @property
    def outcomes(self) -> Mapping[int, Outcome]:
        return self.tried.outcomes

    @property
    def own_case(self) -> bool:
        return self.tried.own_case


def found_from(tried: Tried, about: About, by: str, system: System) -> Found:
    """A plan with the fit of what it is ranked by."""
    figure, firsts = FIGURES[by], alike(tried)
    answers = [
        figure.value(tried.outcomes[n], system)
        if n == first and tried.outcomes[n].status == "done"
        else math.nan
        for n, first in firsts.items()
    ]
    return Found(tried=tried, about=about, influence=influence(tried.inputs, answers), by=by)


def places(found: Found) -> dict[int, int]:
    """Row -> place among the rows that were done; rows that are alike count once."""
    figure = FIGURES[found.by]
    firsts = alike(found.tried)
    rows = [number for number, first in firsts.items() if number == first]
    values = [
        float(getattr(one, figure.field)) if one.status == "done" else math.nan
        for one in (found.outcomes[number] for number in rows)
    ]
    placed = dict(zip(rows, ranks(values, most=figure.most), strict=True))
    return {n: place for n, first in firsts.items() if (place := placed[first]) is not None}


def sheet(found: Found, system: System = "metric") -> pd.DataFrame:
    """The plan with its answers: input columns as typed, place, figures, status, reason."""
    place, base = places(found), found.outcomes.get(0)
    speeds = () if found.own_case else found.about.speeds_rpm
    nm = FIGURES["torque"].unit(system)
    header = ["sheet row", *(c.title for c in found.plan.columns), "status"]
    header += [f"place by {FIGURES[found.by].words}"]
    header += [figure.title(system) for figure in FIGURES.values()]
    header += ["peak torque at [rpm]", "peak power at [rpm]", "mean torque against the file [%]"]
    header += [f"torque at {speed:g} rpm [{nm}]" for speed in speeds] + ["reason"]
    body: list[list[object]] = []
    blank = [""] * len(found.plan.columns)
    listed = [(0, blank), *((row.number, list(row.cells)) for row in found.plan.rows)]
    for number, cells in listed:
        one = found.outcomes[number]
        torque = [from_si(t, "torque", nm) for t in one.torque_Nm] if speeds else []
        line: list[object] = [number or "file", *cells, one.status, place.get(number, "")]
        line += [_rounded(figure.value(one, system)) for figure in FIGURES.values()]
        line += [_rounded(one.peak_torque_rpm), _rounded(one.peak_power_rpm)]
        line += [_rounded(100 * _gain(one, base, found, FIGURES["torque"]))]
        line += [_rounded(t) for t in torque] or [None] * len(speeds)
        body.append([*line, one.reason])
    return pd.DataFrame(body, columns=header)


def sheet_text(found: Found, system: System = "metric") -> str:
    """`sheet` as CSV in the plan's own separator and decimal mark."""
    return sheet(found, system).to_csv(
        index=False,
        sep=found.plan.separator,
        decimal=found.plan.decimal,
        lineterminator="\n",
    )


def _rounded(value: float) -> float | None:
    return float(f"{value:.5g}") if math.isfinite(value) else None


def _gain(one: Outcome, base: Outcome | None, found: Found, figure: Figure) -> float:
    """Share by which a figure lies above that of the file as it is."""
    if base is None or found.own_case or base.status != "done":
        return math.nan
    start = float(getattr(base, figure.field))
    return float(getattr(one, figure.field)) / start - 1.0 if start > 0 else math.nan


def page(found: Found, system: System = "metric", top: int = 10) -> list[Piece]:
    """The page of a plan.

    Parameters
    ----------
    found : Found
    system : 'metric' or 'imperial'
    top : int
        Rows of the ranking.
    """
    pieces: list[Piece] = [*_head(found, system), ""]
    pieces += _ranking(found, system, top)
    pieces += [*without_place(found.tried), *remarked(found.tried)]
    pieces += [*_mattered(found, system), ""]
    pieces += ["How the plan was read", *(Item(t, indent=2) for t in found.plan.understood), ""]
    pieces += assumptions(found.about, system)
    return [*pieces, *(Item(text) for text in _cautions(found))]


def _head(found: Found, system: System) -> list[Piece]:
    about, plan = found.about, found.plan
    speeds = about.speeds_rpm
    at = (
        f"{speeds[0]:g} rpm"
        if len(speeds) == 1
        else (f"{len(speeds)} speeds from {speeds[0]:g} to {speeds[-1]:g} rpm")
    )
    at = "each at its own speed or throttle" if found.own_case else f"at {at}"
    load = "full load" if about.throttle == 1 else f"throttle {about.throttle * 100:g} % open"
    if any(column.target.path == ("throttle",) for column in plan.columns):
        load += " where no throttle is given"
    air = written(about.outside_pressure_Pa, "barometer", system)
    warm = written(about.outside_temperature_K, "temperature", system, digits=3)
    many = found.tried.drawn_from
    drawn = f", drawn from {many}" if many else ""
    first = (
        f"{about.engine}: {len(plan.rows)} what-ifs of {plan.path.name}{drawn}, {at}, {load}, "
        f"outside air {air}, {warm}"
    )
    counts = pd.Series([found.outcomes[row.number].status for row in plan.rows]).value_counts()
    states = ", ".join(f"{count} {status}" for status, count in counts.items())
    stands = about.settings[0].label if about.settings else about.standard
    kept = f"A blank cell keeps the file's value; of the cams its setting {stands}."
    return [first, f"{states[0].upper()}{states[1:]}. {kept}"]


def _ranking(found: Found, system: System, top: int) -> list[Piece]:
    place, figure, firsts = places(found), FIGURES[found.by], alike(found.tried)
    if not place:
        return []
    rows = sorted(place, key=lambda number: (place[number], _order(found, number)))
    rows = [number for number in rows if firsts[number] == number]
    used = [n for n, column in enumerate(found.plan.columns)]
    cells = {row.number: row.cells for row in found.plan.rows}
    beside = [FIGURES[name] for name in dict.fromkeys((found.by, *_BESIDE))]
    many = pd.Series({number: place[number] for number in rows}).value_counts()
    body = []
    for number in rows[:top]:
        tie = "=" if many[place[number]] > 1 else ""
        inputs = [cells[number][n] or "-" for n in used]
        body.append(
            (
                f"{place[number]}{tie}",
                f"{number}",
                *inputs,
                *_answers(found, number, beside, system),
            )
        )
    base = found.outcomes.get(0)
    if base is not None and base.status == "done" and not found.own_case:
        body.append(("", "file", *("-" for _ in used), *_answers(found, 0, beside, system)))
    header = ("place", "row", *(found.plan.columns[n].title for n in used))
    answers = [f.title(system).replace(" [", "\n[") for f in beside]
    if not found.own_case:
        answers.insert(1, "against\nfile, %")
    order = "most" if figure.most else "least"
    title = f"First {min(top, len(rows))} of {len(rows)} by {figure.words}, {order} first; = ties"
    inputs_at = frozenset(range(2, 2 + len(used)))
    grid = Grid(
        title=title,
        header=(*header, *answers),
        rows=tuple(body),
        lead=2,
        folds=inputs_at | frozenset(range(2 + len(used), 2 + len(used) + len(answers))),
    )
    told = [*_more_ties(place, rows, top), *told_alike(firsts, rows[:top])]
    return [grid, "", *told, ""] if told else [grid, ""]


def _more_ties(place: Mapping[int, int], rows: Sequence[int], top: int) -> list[Piece]:
    """Say where the last place shown has more rows than are shown."""
    if len(rows) <= top:
        return []
    last = place[rows[top - 1]]
    all_of = sum(place[number] == last for number in rows)
    shown = sum(place[number] == last for number in rows[:top])
    if shown == all_of:
        return []
    return [Item(f"{all_of} rows share place {last}; shown of them: {shown}.", indent=2)]


def _order(found: Found, number: int) -> float:
    value = float(getattr(found.outcomes[number], FIGURES[found.by].field))
    return -value if FIGURES[found.by].most else value


def _answers(found: Found, number: int, figures: Sequence[Figure], system: System) -> list[str]:
    one = found.outcomes[number]
    told = [_shown(figure.value(one, system), figure.digits) for figure in figures]
    if not found.own_case:
        gain = _gain(one, found.outcomes.get(0), found, figures[0])
        told.insert(1, change(gain) if number else "")
    return told


def _shown(value: float, digits: int) -> str:
    return f"{value:.{digits}f}" if math.isfinite(value) else "-"


def _mattered(found: Found, system: System) -> list[Piece]:
    fit, figure = found.influence, FIGURES[found.by]
    if fit.why_not:
        left = f" {_left_out(fit)}" if fit.left_out else ""
        return [f"Which input mattered most: cannot be said; {fit.why_not}.{left}"]
    unit = figure.unit(system)
    body = [
        (
            effect.name,
            f"{_place(effect.first)} to {_place(effect.last)}",
            f"{effect.share * 100:.0f}",
            f"{effect.low * 100:.0f} to {effect.high * 100:.0f}",
            f"{effect.change:.{max(1, figure.digits)}f}",
            # Where an input moves nothing, the place of the most is chance.
            _place(effect.best) if effect.change > NUMERICAL_ERROR * abs(fit.level) else TIE,
        )
        for effect in fit.effects
    ]
    want = "most" if figure.most else "largest"
    grid = Grid(
        title=f"Which input mattered most for {figure.words}, over {fit.rows} rows",
        header=(
            "input",
            "from to",
            "share of\nspread, %",
            "doubt\n(90 %)",
            f"moves it\nby{', ' + unit if unit else ''}",
            f"{want} at",
        ),
        rows=tuple(body),
        left=frozenset({0}),
        folds=frozenset({0, 1}),
    )
    terms = "a straight and a squared term" if fit.curved else "a straight term"
    products, unseen = " and a product for each two", "finer waves"
    if fit.pairs is None:
        products, unseen = "", "inputs acting together and finer waves"
    told = [
        f"Method: least squares with {terms} for each input{products}; share is what R2 loses "
        f"without the input. R2 of the whole (adjusted) {fit.r2:.2f}: the rest is {unseen}, which "
        "this fit does not see. Doubt: 200 bootstrap samples of the rows."
    ]
    for one, other, share in (fit.pairs or ())[:2]:
        if share >= _MATTERS:
            told.insert(
                0,
                f"{one} and {other} act together ({share * 100:.0f} % of the spread, counted for "
                "both): the best of one depends on the other.",
            )
    if fit.r2 < 0.5:
        told.append("The fit explains less than half: go by the ranking, not by this table.")
    if fit.left_out:
        told.append(_left_out(fit))
    for one, other, r in fit.together:
        told.append(
            f"{one} and {other} move together in this plan (correlation {r:+.2f}): it cannot tell "
            "their effects well apart."
        )
    return [grid, "", *(Item(text, indent=2) for text in told)]


def _left_out(fit: Influence) -> str:
    rows = "1 row is" if fit.left_out == 1 else f"{fit.left_out} rows are"
    return f"{rows} left out of it: a blank cell there stands for no single number."


def _place(value: float | str) -> str:
    return value if isinstance(value, str) else f"{value:.4g}"


def _cautions(found: Found) -> list[str]:
    told = [
        f"A difference below {NUMERICAL_ERROR * 100:g} % is a tie: grid, steps and settling can "
        "make as much. A place is shared by all rows that tie with the best of them, so the last "
        "of one place and the first of the next may tie too. How sure the inputs are is not in it."
    ]
    above = sum(speed > found.about.speed_limit_rpm for speed in found.about.speeds_rpm)
    if above:
        words = "1 of these speeds lies" if above == 1 else f"{above} of these speeds lie"
        told.append(cautions.OVER_SPEED.format(told=words, limit=found.about.speed_limit_rpm))
    return [*told, cautions.CLEARANCE, cautions.LEAN, cautions.KNOCK]
