"""Points of the crank circle as the trade writes them: "22 BTDC", "62 ABDC", "TDC"."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from breathe.engine.parts import Side
from breathe.engine.quantities import QuantityError, shown, split_number

_TAIL = re.compile(r"(?:(?:deg(?: crank)?|°|° crank)\s*)?(?P<way>[BA])(?P<centre>[TB]DC)$")


@dataclass(frozen=True, slots=True)
class CrankPoint:
    """Crank degrees after a dead centre; negative is before it."""

    centre: Literal["TDC", "BDC"]
    after_deg: float


def read_crank_point(found: object) -> CrankPoint:
    """A point such as "22 BTDC" or "TDC".

    Raises
    ------
    QuantityError
        With what was found and what is expected.

    Examples
    --------
    >>> read_crank_point("22 BTDC")
    CrankPoint(centre='TDC', after_deg=-22.0)
    """
    wanted = 'expected crank degrees from a dead centre, such as "22 BTDC" or "62 ABDC"'
    if not isinstance(found, str):
        raise QuantityError(f"found {shown(found)}; {wanted}")
    if found.strip() in ("TDC", "BDC"):
        return CrankPoint("TDC" if found.strip() == "TDC" else "BDC", 0.0)
    parted = split_number(found)
    match = (
        _TAIL.match(" ".join(parted[1].upper().replace("DEG", "deg").split())) if parted else None
    )
    if parted is None or match is None:
        raise QuantityError(f"found {shown(found)}; {wanted}")
    sign = 1.0 if match["way"] == "A" else -1.0
    if abs(parted[0]) > 180:
        raise QuantityError(f"found {shown(found)}; {wanted}, at most 180 from it")
    return CrankPoint("TDC" if match["centre"] == "TDC" else "BDC", sign * parted[0] + 0.0)


def crank_angle(point: CrankPoint, side: Side) -> float:
    """Crank degrees of a valve event with 360 at overlap TDC.

    The BDC meant is the one of that side: after the intake stroke (540) or before the exhaust
    stroke (180).
    """
    if point.centre == "TDC":
        return 360.0 + point.after_deg
    return (540.0 if side == "intake" else 180.0) + point.after_deg


def written_point(angle_deg: float, side: Side) -> str:
    """The trade's words for a crank angle, from the nearer dead centre of that side.

    Examples
    --------
    >>> written_point(602.0, "intake"), written_point(118.0, "exhaust")
    ('62 ABDC', '62 BBDC')
    """
    bdc = 540.0 if side == "intake" else 180.0
    centre, name = min((360.0, "TDC"), (bdc, "BDC"), key=lambda c: abs(angle_deg - c[0]))
    after = angle_deg - centre
    if abs(after) < 0.05:
        return name
    return f"{abs(after):.4g} {'A' if after > 0 else 'B'}{name}"
