"""Where a cam of an engine stands, by its card: duration, centreline, opening and closing."""

from __future__ import annotations

from breathe.engine.parts import Engine, Setting
from breathe.study.plans.events import FROM, angle_of


class RowFault(Exception):
    """A what-if that cannot be built; the text says why."""


def card_duration(engine: Engine, side: str) -> float:
    """Crank degrees on the card of an engine's own cam.

    Raises
    ------
    RowFault
        A measured lobe has no card.
    """
    for card in engine.cards:
        if card.side == side:
            return card.closes_deg - card.opens_deg
    raise RowFault(
        f"{side}.duration: the cam is a measured lobe without a card, and there is no sleeve; "
        f"use {side}.stretch, such as 1.05"
    )


def centreline(engine: Engine, setting: Setting, side: str) -> float:
    """Middle of the opening, degrees after (intake) or before (exhaust) overlap TDC."""
    cam = getattr(setting, f"{side}_cam") or getattr(engine, f"{side}_cam")
    towards = 1.0 if side == "intake" else -1.0
    later = getattr(setting, f"{side}_shift_deg")
    if cam.sleeve is not None:
        added = getattr(setting, f"{side}_travel_m") * cam.sleeve.crank_deg_per_m
        later += (cam.sleeve.closing_share - 0.5) * added
    return float(cam.centreline_deg + towards * later)


def own_duration(engine: Engine, setting: Setting, side: str) -> float | None:
    """Crank degrees of a setting of the engine's own cam; None where no card says it."""
    if getattr(setting, f"{side}_cam") is not None:
        return None
    travel = float(getattr(setting, f"{side}_travel_m"))
    sleeve = getattr(engine, f"{side}_cam").sleeve
    try:
        card = card_duration(engine, side)
    except RowFault:
        return None
    added = travel * sleeve.crank_deg_per_m if sleeve else 0.0
    return card * float(getattr(setting, f"{side}_stretch")) + added


def event(engine: Engine, setting: Setting, side: str, point: str) -> float | None:
    """An opening or closing point as its column counts it; None as `own_duration`."""
    duration = own_duration(engine, setting, side)
    if duration is None:
        return None
    middle = angle_of(centreline(engine, setting, side), side, "centreline")
    _, centre, way = FROM[side, point]
    return way * (middle + (-0.5 if point == "opens" else 0.5) * duration - centre)
