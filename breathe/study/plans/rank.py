"""Which what-if comes first, which ones tie, and which input mattered most."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from breathe.study.crossings import NUMERICAL_ERROR, tied
from breathe.study.plans.sheet import Plan

Floats = NDArray[np.float64]
Terms = dict[tuple[str, ...], Floats]
"""Columns of the fit of one input, and of two inputs together; products stand last."""

_ROUNDS = 200
"""Bootstrap samples for the doubt of a share."""
_SPARE = 4
"""Rows that a fit needs beyond its terms."""
_TOGETHER = 0.5
"""Correlation from which two inputs cannot be told apart well (common practice, no source)."""


def ranks(values: Sequence[float], *, most: bool = True) -> list[int | None]:
    """Places from 1; all that tie with the first of a group share its place.

    Parameters
    ----------
    values : (n,) sequence of float
        nan has no place.
    most : bool
        Whether the largest comes first.

    Examples
    --------
    >>> ranks([30.0, 36.0, 35.9, float("nan"), 33.0])
    [4, 1, 1, None, 3]
    """
    known = [n for n, value in enumerate(values) if np.isfinite(value)]
    order = sorted(known, key=lambda n: -values[n] if most else values[n])
    places: list[int | None] = [None] * len(values)
    first = 0
    for position, n in enumerate(order):
        if not tied(values[n], values[order[first]], NUMERICAL_ERROR):
            first = position
        places[n] = first + 1
    return places


@dataclass(frozen=True, slots=True, kw_only=True)
class Effect:
    """How much of the spread of an answer one input explains."""

    name: str
    share: float
    """Fall of R2 when the input is left out of the fit, alone and with others, 0 to 1."""
    low: float
    high: float
    """Middle 90 % of `share` over bootstrap samples of the rows."""
    change: float
    """Largest less smallest fitted answer over the span of the input, all else held."""
    best: float | str
    """Value (or word) at which the fit is largest."""
    first: float | str
    last: float | str
    """Span of the input in the rows fitted."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Influence:
    """The fit and its effects, largest first."""

    effects: tuple[Effect, ...]
    r2: float
    """Of the whole fit, adjusted for its number of terms."""
    rows: int
    level: float = float("nan")
    """Mean of the answers fitted."""
    together: tuple[tuple[str, str, float], ...] = ()
    """Pairs of inputs that move together, and their correlation."""
    left_out: int = 0
    """Rows with an answer whose inputs are not all known as one number."""
    curved: bool = True
    """Whether squared terms are in the fit; too few rows leave straight ones alone."""
    pairs: tuple[tuple[str, str, float], ...] | None = None
    """Pairs of inputs that act together, and the fall of R2 without that, largest first; None where
    too few rows bear such terms."""
    why_not: str = ""
    """Why there is no fit, if there is none."""


def influence(
    inputs: Mapping[str, Sequence[float | str | None]], answer: Sequence[float]
) -> Influence:
    """Which input mattered, by least squares with a straight and a squared term for each input.

    answer = c + sum(a_i x_i + b_i x_i^2) + sum(d_ij x_i x_j), words as one level each and without
    products; products only where there are rows enough. An input's share is what R2 loses without
    all terms that hold it: of inputs which move together each shows only what the others cannot
    explain, and what two do together counts for both.

    Parameters
    ----------
    inputs : mapping
        Name -> (n,) numbers or words; None where unknown, which leaves the row out.
    answer : (n,) sequence of float
        nan leaves the row out.

    References
    ----------
    Least squares with R2 adjusted, and the drop in R2 as importance: common practice, no source.
    Percentile bootstrap: B. Efron, R. J. Tibshirani, An Introduction to the Bootstrap, 1993,
    ch. 13 (from memory).
    """
    full = [
        n
        for n, value in enumerate(answer)
        if np.isfinite(value) and all(column[n] is not None for column in inputs.values())
    ]
    y = np.array([answer[n] for n in full], dtype=float)
    columns = {name: [column[n] for n in full] for name, column in inputs.items()}
    varied = {name: v for name, v in columns.items() if len(set(v)) > 1}
    terms, curved = _fitting(varied, len(y))
    answered = int(np.isfinite(np.asarray(answer, dtype=float)).sum())
    told = Influence(
        effects=(),
        r2=float("nan"),
        rows=len(y),
        level=float(y.mean()) if len(y) else float("nan"),
        together=_together(varied),
        left_out=answered - len(full),
        curved=curved,
        why_not=_why_not(terms, y),
    )
    if told.why_not:
        return told
    singles, terms = terms, _with_products(terms, varied, len(y), curved=curved)
    shares, doubt = _shares(terms, y), _bootstrap(terms, y)
    count = _count(terms)
    r2 = 1.0 - (1.0 - _r2(list(terms.values()), y)) * (len(y) - 1) / (len(y) - 1 - count)
    effects = [_effect(n, varied[n[0]], terms, y, shares[n[0]], doubt[n[0]]) for n in singles]
    effects.sort(key=lambda effect: -effect.share)
    pairs = _pairs(terms, y) if len(terms) > len(singles) else None
    return replace(told, effects=tuple(effects), r2=r2, pairs=pairs)


def _fitting(varied: Mapping[str, Sequence[float | str | None]], rows: int) -> tuple[Terms, bool]:
    """Terms of the fit that so many rows bear, and whether squared ones are among them."""
    terms: Terms = {(name,): _terms(values) for name, values in varied.items()}
    if rows >= _count(terms) + _SPARE:
        return terms, True
    return {(name,): _terms(values, curved=False) for name, values in varied.items()}, False


def _with_products(
    terms: Terms,
    varied: Mapping[str, Sequence[float | str | None]],
    rows: int,
    *,
    curved: bool,
) -> Terms:
    """The terms with a product for each pair of numbers, where twice as many rows are there."""
    numbers = [n for n in varied if not any(isinstance(value, str) for value in varied[n])]
    products: Terms = {
        (one, other): terms[one,][:, :1] * terms[other,][:, :1]
        for one, other in itertools.combinations(numbers, 2)
    }
    if not curved or rows < 2 * (_count(terms) + len(products)) + _SPARE:
        return terms
    return {**terms, **products}


def _count(terms: Terms) -> int:
    return sum(term.shape[1] for term in terms.values())


def _pairs(terms: Terms, y: Floats) -> tuple[tuple[str, str, float], ...]:
    whole = _r2(list(terms.values()), y)
    found = [
        (*key, max(0.0, whole - _r2([t for other, t in terms.items() if other != key], y)))
        for key in terms
        if len(key) == 2
    ]
    return tuple(sorted(found, key=lambda pair: -pair[2]))


def _names(terms: Terms) -> list[str]:
    return [key[0] for key in terms if len(key) == 1]


def _why_not(terms: Terms, y: Floats) -> str:
    """Why there can be no fit, or nothing."""
    count = _count(terms)
    if not terms:
        return "no input has two values in rows that gave an answer"
    if len(y) < count + _SPARE:
        return (
            f"{len(y)} row{' with an answer is' if len(y) == 1 else 's with an answer are'} too "
            f"few for {len(terms)} "
            f"input{'s' * (len(terms) != 1)}; about {3 * count + _SPARE} would do"
        )
    return "all answers tie" if np.ptp(y) <= NUMERICAL_ERROR * np.abs(y).max() else ""


def _terms(values: Sequence[float | str | None], *, curved: bool = True) -> Floats:
    """Columns of the fit for one input: x and x^2, or one for each further word."""
    if any(isinstance(value, str) for value in values):
        levels = sorted({str(value) for value in values})
        return np.array([[float(str(v) == level) for level in levels[1:]] for v in values])
    x = np.array(values, dtype=float)
    scaled = (x - x.mean()) / np.ptp(x)
    if not curved or len(set(values)) < 3:  # two points bear no curve
        return scaled[:, None]
    return np.column_stack([scaled, scaled**2])


def _design(terms: Sequence[Floats], rows: int) -> Floats:
    return np.column_stack([np.ones(rows), *terms])


def _r2(terms: Sequence[Floats], y: Floats) -> float:
    design = _design(terms, len(y))
    fitted = design @ np.linalg.lstsq(design, y, rcond=None)[0]
    total = float(np.sum((y - y.mean()) ** 2))
    return 1.0 - float(np.sum((y - fitted) ** 2)) / total if total > 0 else float("nan")


def _shares(terms: Terms, y: Floats) -> dict[str, float]:
    whole = _r2(list(terms.values()), y)
    return {
        name: max(0.0, whole - _r2([t for key, t in terms.items() if name not in key], y))
        for name in _names(terms)
    }


def _bootstrap(terms: Terms, y: Floats) -> dict[str, tuple[float, float]]:
    """5 % and 95 % of each share over samples of the rows with repetition; always the same ones.

    Each sample is fitted by its normal equations, whose size does not grow with the rows.
    """
    random = np.random.default_rng(1)
    design, level = _design(list(terms.values()), len(y)), y - y.mean()
    owner = [(), *(key for key, term in terms.items() for _ in range(term.shape[1]))]
    without = {
        name: [k for k, key in enumerate(owner) if name not in key] for name in _names(terms)
    }
    found: dict[str, list[float]] = {name: [] for name in without}
    for _ in range(_ROUNDS):
        times = np.bincount(random.integers(0, len(y), len(y)), minlength=len(y)).astype(float)
        weighted = design * times[:, None]
        square, side = design.T @ weighted, weighted.T @ level
        total = float(times @ level**2) - float(times @ level) ** 2 / len(y)
        if total <= 1e-12 * float(level @ level):
            continue
        whole = _explained(square, side, range(len(owner)))
        for name, kept in without.items():
            found[name].append(max(0.0, (whole - _explained(square, side, kept)) / total))
    return {
        name: (float(np.quantile(s, 0.05)), float(np.quantile(s, 0.95)))
        for name, s in found.items()
    }


def _explained(square: Floats, side: Floats, kept: Sequence[int]) -> float:
    """Sum of squares that a fit with some of its columns explains, from the normal equations."""
    some = list(kept)
    weights = np.linalg.lstsq(square[np.ix_(some, some)], side[some], rcond=None)[0]
    return float(side[some] @ weights)


def _effect(
    name: tuple[str, ...],
    values: Sequence[float | str | None],
    terms: Terms,
    y: Floats,
    share: float,
    doubt: tuple[float, float],
) -> Effect:
    design = _design(list(terms.values()), len(y))
    weights = np.linalg.lstsq(design, y, rcond=None)[0]
    start = 1 + sum(terms[other].shape[1] for other in list(terms)[: list(terms).index(name)])
    own = weights[start : start + terms[name].shape[1]]
    words = any(isinstance(value, str) for value in values)
    places: list[float | str] = []
    if words:
        places = sorted({str(value) for value in values})
        fitted = np.concatenate([[0.0], own])
    else:
        x = np.array(values, dtype=float)
        along = np.linspace(x.min(), x.max(), 101)
        scaled = (along - x.mean()) / np.ptp(x)
        fitted = np.column_stack([scaled, scaled**2])[:, : len(own)] @ own
        places = [float(place) for place in along]
    return Effect(
        name=name[0],
        share=share,
        low=doubt[0],
        high=doubt[1],
        change=float(np.ptp(fitted)),
        best=places[int(np.argmax(fitted))],
        first=places[0],
        last=places[-1],
    )


def _together(
    columns: Mapping[str, Sequence[float | str | None]],
) -> tuple[tuple[str, str, float], ...]:
    """Pairs of numeric inputs with a correlation (Pearson) above `_TOGETHER` in size."""
    numeric = {
        name: np.array(values, dtype=float)
        for name, values in columns.items()
        if len(values) > 2 and not any(isinstance(value, str) for value in values)
    }
    names, found = list(numeric), []
    for n, one in enumerate(names):
        for other in names[n + 1 :]:
            with np.errstate(invalid="ignore", divide="ignore"):
                r = float(np.corrcoef(numeric[one], numeric[other])[0, 1])
            if abs(r) >= _TOGETHER:
                found.append((one, other, r))
    return tuple(sorted(found, key=lambda pair: -abs(pair[2])))


def influence_inputs(
    found_rows: Sequence[int], plan: Plan, kept: Mapping[int, float | str | None]
) -> dict[str, list[float | str | None]]:
    """Inputs by name, numbers in their column's unit, blank cells as what they keep.

    Parameters
    ----------
    found_rows : sequence of int
        Rows of the sheet, in the order wanted.
    plan : Plan
    kept : mapping
        Column -> what a blank cell stands for, in the column's unit.
    """
    rows = {row.number: row for row in plan.rows}
    columns: dict[str, list[float | str | None]] = {}
    for n, column in enumerate(plan.columns):
        if not column.used:
            continue
        values: list[float | str | None] = []
        for number in found_rows:
            row = rows[number]
            given = row.given.get(n)
            value = row.figures.get(n, None if given is None else str(given))
            values.append(kept.get(n) if given is None else value)
        if any(isinstance(v, str) for v in values):
            values = [v if v is None or isinstance(v, str) else f"{v:g}" for v in values]
        columns[column.title] = values
    return columns
