"""Rows of a plan told in few lines: those with the same reason together, those that are alike."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence

from breathe.study.plans.kept import Tried
from breathe.study.plans.outcome import Outcome
from breathe.view.console import Item, Piece

MOST_REASONS = 12
_MOST_SPANS = 6
_FIGURE = re.compile(r"[-+]?\d[\d.,]*|\"[^\"]*\"|'[^']*'")


def spans(numbers: Iterable[int]) -> str:
    """Row numbers in words, neighbours together.

    Examples
    --------
    >>> spans([2]), spans([2, 3]), spans([4, 2, 3, 9])
    ('row 2', 'rows 2, 3', 'rows 2 to 4, 9')
    """
    ordered = sorted(numbers)
    runs: list[list[int]] = []
    for n in ordered:
        if runs and n == runs[-1][-1] + 1:
            runs[-1].append(n)
        else:
            runs.append([n])
    shown = [f"{r[0]} to {r[-1]}" if len(r) > 2 else ", ".join(map(str, r)) for r in runs]
    left = sum(len(r) for r in runs[_MOST_SPANS:])
    more = f" and {left} more" if left else ""
    return f"row{'s' if len(ordered) > 1 else ''} {', '.join(shown[:_MOST_SPANS])}{more}"


def by_reason(rows: Sequence[tuple[int, str]]) -> list[tuple[list[int], str]]:
    """Rows whose reasons differ in figures alone, together with the first of them."""
    groups: dict[str, tuple[list[int], str]] = {}
    for number, reason in rows:
        groups.setdefault(_FIGURE.sub("0", reason), ([], reason))[0].append(number)
    return list(groups.values())


def reasons(rows: Sequence[tuple[int, str]], status: str = "") -> list[Piece]:
    """One line for each kind of reason; of rows that differ in figures the first is told."""
    told: list[Piece] = []
    groups = by_reason(rows)
    also = f", {status}" if status else ""
    for numbers, reason in groups[:MOST_REASONS]:
        same = len({text for number, text in rows if number in set(numbers)}) == 1
        first = "" if same else f"row {numbers[0]}: "
        told.append(Item(f"{spans(numbers)}{also}: {first}{reason}", indent=2))
    left = sum(len(numbers) for numbers, _ in groups[MOST_REASONS:])
    if left:
        told.append(Item(f"and {left} more; the result sheet has them all", indent=2))
    return told


def without_place(tried: Tried) -> list[Piece]:
    """Rows that are not ranked, with the reason."""
    odd: dict[str, list[Outcome]] = {}
    for row in tried.plan.rows:
        one = tried.outcomes[row.number]
        if one.status != "done":
            odd.setdefault(one.status, []).append(one)
    if not odd:
        return []
    told: list[Piece] = []
    for status, ones in odd.items():
        told += reasons([(one.number, one.reason) for one in ones], status)
    return ["Rows without a place", *told, ""]


def remarked(tried: Tried) -> list[Piece]:
    """What is to be said of rows that have a place: questions of the reader, remarks of cases."""
    said = [
        (row.number, text)
        for row in tried.plan.rows
        if tried.outcomes[row.number].status == "done"
        for text in tried.outcomes[row.number].reason.split("; ")
        if text
    ]
    return ["Rows that ran, with a remark", *reasons(said), ""] if said else []


def alike(tried: Tried) -> dict[int, int]:
    """Row -> first row of the plan that changes the same to the same values.

    Rows whose inputs are not all known as one number are alike where they are typed alike.
    """
    first: dict[tuple[object, ...], int] = {}
    found: dict[int, int] = {}
    used = [n for n, column in enumerate(tried.plan.columns) if column.used]
    for k, row in enumerate(tried.plan.rows):
        values = [column[k] for column in tried.inputs.values()]
        cells = [row.cells[n] for n in used]
        key = tuple(c if v is None else v for v, c in zip(values, cells, strict=True))
        found[row.number] = first.setdefault(key, row.number)
    return found


def told_alike(firsts: Mapping[int, int], shown: Sequence[int]) -> list[Piece]:
    """Which rows stand behind those shown."""
    others: dict[int, list[int]] = {}
    for number, first in firsts.items():
        if number != first and first in shown:
            others.setdefault(first, []).append(number)
    if not others:
        return []
    listed = [
        f"{first} = {', '.join(map(str, others[first][:4]))}{', ...' * (len(others[first]) > 4)}"
        for first in shown
        if first in others
    ]
    return [Item(f"Rows that change the same are shown once: {'; '.join(listed)}.", indent=2)]
