"""The cam degreed in elsewhere, as a page tells it: a table and a sentence."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from breathe.engine.quantities import System, user_unit
from breathe.study.answer import AxisNote, Best
from breathe.study.crossings import NUMERICAL_ERROR
from breathe.study.search.turned import TURN_DEG
from breathe.view.console import Grid, Piece
from breathe.view.figures import change, torque_texts
from breathe.view.marks import MARK
from breathe.view.places import in_words
from breathe.view.tables import TIE

Row = Mapping[Any, Any]


def with_turn(found: Best) -> tuple[AxisNote, ...]:
    """The axes, and the turn that cases of a cam degreed in elsewhere have after them."""
    if not len(found.turned):
        return found.axes
    side = found.axes[0].side
    turn = AxisNote(side=side, kind="phase", low_deg=-TURN_DEG, high_deg=TURN_DEG)
    return (*found.axes, turn)


def turned_gaps(found: Best) -> list[tuple[str, str]]:
    """Cams of the table that do not clear there, and the gap."""
    return [
        (_where(found, row), row["does_not_clear"])
        for row in found.turned.to_dict("records")
        if row["does_not_clear"] and _moved(row) != TIE
    ]


def turned_grid(found: Best, system: System) -> list[Piece]:
    """Mean torque of the fixed and the variable cam where each is degreed in best."""
    if not len(found.turned):
        return []
    texts = torque_texts(found.turned[["as_filed_Nm", "turned_Nm"]], system)
    cells = [
        (
            "best fixed" if row["role"] == "fixed" else "variable",
            texts["as_filed_Nm"][n],
            _where(found, row) + (MARK if row["does_not_clear"] and _moved(row) != TIE else ""),
            _centreline(found, row),
            texts["turned_Nm"][n],
            _moved(row),
        )
        for n, row in enumerate(found.turned.to_dict("records"))
    ]
    title = (
        f"The {found.axes[0].side} cam degreed in elsewhere, once for all speeds, up to "
        f"{TURN_DEG:.0f}° to either side: {'weighted ' if found.weights else ''}mean torque, "
        f"{user_unit('torque', system)}, and what that changes, %; {TIE} none found"
    )
    header = ("cam", "as it is", "best place", "centreline", "there", "change")
    return [Grid(title=title, header=header, rows=tuple(cells), left=frozenset({0, 2})), ""]


def _moved(row: Row) -> str:
    """What the best place changes."""
    return change(row["turned_Nm"] / row["as_filed_Nm"] - 1)


def _where(found: Best, row: Row) -> str:
    if _moved(row) == TIE:
        return "as it is"
    turn = with_turn(found)[-1]
    if row["role"] == "fixed":
        return in_words([*found.axes, turn], (row["dwell_deg"], row["turn_deg"]))
    return in_words([turn], (row["turn_deg"],))


def _centreline(found: Best, row: Row) -> str:
    if row["role"] != "fixed" or _moved(row) == TIE:
        return "-"
    return f"{row['centreline_deg']:.0f} {'ATDC' if found.axes[0].side == 'intake' else 'BTDC'}"


def turned_words(found: Best) -> list[str]:
    """What a free centreline changes of the gain."""
    if not len(found.turned):
        return []
    fixed, variable = found.turned.to_dict("records")
    gain = change(variable["turned_Nm"] / fixed["turned_Nm"] - 1)
    much = (
        f"no difference found (below {NUMERICAL_ERROR * 100:g} %)" if gain == TIE else f"{gain} %"
    )
    counted = "by your weights" if found.weights else "in the mean"
    if _moved(fixed) == _moved(variable) == TIE:
        return [
            f"Degreed in elsewhere, up to {TURN_DEG:.0f}° to either side, neither the best fixed "
            f"cam nor the variable one has more {counted} than the model can tell."
        ]
    centreline = _centreline(found, fixed)
    at = "" if centreline == "-" else f" (centreline {centreline})"
    told = (
        f"With the centreline free as well, each cam at its best place, variable over fixed is "
        f"{much} {counted}: fixed {_where(found, fixed)}{at}, variable {_where(found, variable)}."
    )
    moved = [row for row in (fixed, variable) if _moved(row) != TIE]
    ends = [row for row in moved if abs(row["turn_deg"]) > TURN_DEG - 0.5]
    return [f"{told} {TURN_DEG:.0f}° is the end of what was looked at." if ends else told]
