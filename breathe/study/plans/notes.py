"""What a user must know of the columns of a plan besides what they mean."""

from __future__ import annotations

from breathe.study.plans.names import changes_nothing
from breathe.study.plans.sheet import Plan
from breathe.study.plans.what_if import WAYS, Base

_OF_ANY_LOBE = ("lash",)
"""Keys of an engine's own cam that its other cams take over."""


def plan_notes(base: Base, plan: Plan) -> tuple[str, ...]:
    """Columns that change nothing, that move a cam, and what a blank one of these leaves."""
    told = []
    for column in plan.columns:
        why = changes_nothing(column.target)
        if why:
            told.append(f"{column.title} changes no figure here: {why}")
    for side in ("intake", "exhaust"):
        told += _of_cam(base, plan, side)
    return tuple(told)


def _of_cam(base: Base, plan: Plan, side: str) -> list[str]:
    keys = {
        c.target.path[1]
        for c in plan.columns
        if c.target.room == "setting" and c.target.path[0] == side
    }
    told = []
    own = getattr(base.setting, f"{side}_cam") is None
    ways = keys & {*WAYS[:3], "opens", "closes"}
    if ways and not own:
        told.append(
            f"{side}: a given {min(ways)} is that of the engine's own cam and its sleeve; a blank "
            f"one is the cam of {base.setting.label}, another lobe"
        )
    lobe = [
        column.title
        for column in plan.columns
        if column.target.room == "file"
        and column.target.path[:2] in ((side, "cam"), (side, "sleeve"))
        and column.target.path[2] not in _OF_ANY_LOBE
        and not changes_nothing(column.target)
    ]
    if lobe and not own:
        label = base.setting.label
        told.append(
            f"{', '.join(lobe)}: of the engine's own cam, and {label} has another lobe: it changes "
            f"nothing where that stands; give a duration, or --setting with a setting of that cam"
        )
    if ways & {"duration", "opens", "closes"} and base.raw.get(side, {}).get("sleeve") is None:
        told.append(
            f"{side} duration: the same lobe ground longer or shorter about its nose, as the file "
            "has no sleeve"
        )
    return told
