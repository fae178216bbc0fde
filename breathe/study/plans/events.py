"""Valve events of a plan: opening and closing points, put as a duration and a centreline."""

from __future__ import annotations

from breathe.engine.events import crank_angle, read_crank_point
from breathe.engine.keys import Key

FROM = {
    ("intake", "centreline"): ("ATDC", 360.0, 1.0),
    ("exhaust", "centreline"): ("BTDC", 360.0, -1.0),
    ("intake", "opens"): ("BTDC", 360.0, -1.0),
    ("intake", "closes"): ("ABDC", 540.0, 1.0),
    ("exhaust", "opens"): ("BBDC", 180.0, -1.0),
    ("exhaust", "closes"): ("ATDC", 360.0, 1.0),
}
"""Point -> the dead centre a bare number counts from, its crank angle with 360 at overlap TDC, and
the way it counts."""
CENTRELINE = Key("angle", "deg crank", (90, 130), (60, 160), "cam degrees for crank?")
_EARLY = Key("angle", "deg crank", (-10, 60), (-60, 120), "another dead centre?")
_LATE = Key("angle", "deg crank", (20, 110), (-120, 150), "another dead centre?")
EVENTS = {
    ("intake", "opens"): _EARLY,
    ("intake", "closes"): _LATE,
    ("exhaust", "opens"): _LATE,
    ("exhaust", "closes"): _EARLY,
}
"""Points near overlap TDC, and those near bottom dead centre."""


class EventFault(ValueError):
    """Events that say too much or too little; the text says which."""


def angle_of(value_deg: float, side: str, point: str) -> float:
    """Crank angle, 360 at overlap TDC, of a number counted as its column counts.

    Examples
    --------
    >>> angle_of(62.0, "intake", "closes"), angle_of(110.0, "exhaust", "centreline")
    (602.0, 250.0)
    """
    _, centre, way = FROM[side, point]
    return centre + way * value_deg


def point_cell(cell: str, side: str, point: str) -> str:
    """A cell with its dead centre ("104 ATDC", "62 ABDC") as plain crank degrees.

    Raises
    ------
    QuantityError
        The cell is no point of the crank circle.

    Examples
    --------
    >>> point_cell("10 BBDC", "intake", "closes")
    '-10 deg crank'
    """
    _, centre, way = FROM[side, point]
    angle = crank_angle(read_crank_point(cell), side)  # type: ignore[arg-type]
    return f"{way * (angle - centre):.12g} deg crank"


def placed_by_events(
    side: str,
    given: dict[str, float],
    kept: tuple[float | None, float],
) -> tuple[float, float]:
    """Duration and centreline that put the valve events where a row wants them.

    Parameters
    ----------
    side : 'intake' or 'exhaust'
    given : dict
        ``opens``, ``closes``, ``duration`` as typed [crank deg].
    kept : (float or None, float)
        Duration and centreline of the cam setting that blank cells keep; no duration where another
        lobe stands.

    Returns
    -------
    float, float
        Duration, and centreline as its column counts it [crank deg].

    Raises
    ------
    EventFault
        Too much or too little is said.
    """
    angles = {k: angle_of(v, side, k) for k, v in given.items() if k != "duration"}
    duration = given.get("duration")
    if len(angles) == 2 and duration is not None:
        raise EventFault(f"{side} opens, closes and duration say the same; give two of them")
    if len(angles) == 1 and duration is None:
        if kept[0] is None:
            raise EventFault(
                f"{side}: one event alone leaves the other where the cam has it, but a blank "
                "duration here is another lobe; give both events, or duration too"
            )
        middle = angle_of(kept[1], side, "centreline")
        for point, way in (("opens", -0.5), ("closes", 0.5)):
            angles.setdefault(point, middle + way * kept[0])
    if duration is None:
        duration = angles["closes"] - angles["opens"]
    start = angles["opens"] if "opens" in angles else angles["closes"] - duration
    _, centre, way = FROM[side, "centreline"]
    return duration, way * (start + duration / 2 - centre)
