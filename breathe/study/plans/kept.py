"""What a plan came to, as it is kept with its run and printed again without the sheet."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path

from breathe.engine.keys import Key
from breathe.errors import BreatheError
from breathe.study.plans.header import Column
from breathe.study.plans.names import Target
from breathe.study.plans.outcome import Outcome
from breathe.study.plans.sheet import Plan, PlanRow

Inputs = Mapping[str, list[float | str | None]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Tried:
    """A plan and its answers."""

    plan: Plan
    """Of one read back only titles, cells and what was understood are left."""
    outcomes: Mapping[int, Outcome]
    """By row of the sheet; 0 is the engine file as it is."""
    inputs: Inputs
    """Title -> value of each row of the plan in the column's unit, blank cells as what they keep;
    None where no single number says it."""
    own_case: bool = False
    """Whether rows have a speed or throttle of their own, so that they are not like the file."""
    drawn_from: int = 0
    """Rows of the plan that these were drawn from; 0 when all are here."""


def tried_text(tried: Tried) -> str:
    """All of it as JSON."""
    plan = tried.plan
    found = {
        "sheet": plan.path.name,
        "columns": [[c.title, c.target.room, list(c.target.path)] for c in plan.columns],
        "rows": [[row.number, list(row.cells)] for row in plan.rows],
        "understood": list(plan.understood),
        "separator": plan.separator,
        "decimal": plan.decimal,
        "outcomes": [asdict(one) for one in tried.outcomes.values()],
        "inputs": dict(tried.inputs),
        "own_case": tried.own_case,
        "drawn_from": tried.drawn_from,
    }
    return json.dumps(found, ensure_ascii=False)


def tried_from(text: str) -> Tried:
    """The way back of `tried_text`.

    Raises
    ------
    BreatheError
        The text is damaged.
    """
    try:
        kept = json.loads(text)
        plan = Plan(
            path=Path(kept["sheet"]),
            columns=tuple(
                Column(title, Target(room, tuple(path), Key("text")))
                for title, room, path in kept["columns"]
            ),
            rows=tuple(PlanRow(number, tuple(cells)) for number, cells in kept["rows"]),
            understood=tuple(kept["understood"]),
            separator=kept["separator"],
            decimal=kept["decimal"],
        )
        outcomes = [Outcome(**{**o, "torque_Nm": tuple(o["torque_Nm"])}) for o in kept["outcomes"]]
        return Tried(
            plan=plan,
            outcomes={one.number: one for one in outcomes},
            inputs=kept["inputs"],
            own_case=kept["own_case"],
            drawn_from=kept["drawn_from"],
        )
    except (ValueError, TypeError, KeyError):
        raise BreatheError(
            "the answer kept with this run is damaged; --redo computes anew from its cases"
        ) from None
