"""Units of a plan's columns and cells, as people spell them."""

from __future__ import annotations

import re
from collections.abc import Sequence

from breathe.engine.quantities import UNITS, QuantityError, known_unit, split_number
from breathe.measured.sheet import number
from breathe.study.plans.events import FROM
from breathe.study.plans.names import NameFault, Target

_ANGLES = ("deg", "°", "degrees", "degree", "deg.")
_NO_UNIT = frozenset(("", "-", "1", ":1"))


def unit_of(spelled: str, target: Target) -> str:
    """The unit of a column as the engine file writes it; empty where the title has none.

    Raises
    ------
    NameFault
        A unit that the key cannot have.
    """
    spelled = " ".join(spelled.split())
    dimension = target.rule.kind
    if spelled in _NO_UNIT or target.room == "remark":
        return ""
    if dimension == "angle" and spelled.lower() in _ANGLES:
        return "deg crank"
    centre = dead_centre(target)
    if centre and spelled.upper().split()[-1] == centre:
        return "deg crank"
    if dimension == "point":
        return ""
    if target.path == ("throttle",) and spelled == "-":
        return ""
    suffix = re.search(r" (abs|absolute|gauge)$", spelled)
    bare = spelled[: suffix.start()] if suffix else spelled
    unit = known_unit(bare, dimension) if dimension in UNITS else None
    if unit is None:
        if dimension not in UNITS:
            raise NameFault(f'has the unit "{spelled}", but {target.shown} has none')
        raise NameFault(f'unit "{spelled}" not known here; one of {", ".join(UNITS[dimension])}')
    return unit + (suffix[0] if suffix else "")


def dead_centre(target: Target) -> str:
    """Where a column that places a point of the crank circle counts from, or nothing."""
    if target.room != "setting" or len(target.path) != 2:
        return ""
    return FROM.get((target.path[0], target.path[1]), ("", 0.0, 0.0))[0]


def is_units(cells: Sequence[str], decimal: str) -> bool:
    """Whether a row below the names holds units alone."""
    every = {spelled for units in UNITS.values() for spelled in units} | set(_ANGLES) | _NO_UNIT
    filled = [cell.strip("[]() ") for cell in cells if cell]
    every |= {centre for centre, _, _ in FROM.values()}
    known = [c in every or any(known_unit(c, d) for d in UNITS) for c in filled]
    return bool(filled) and all(known) and not all(number(c, decimal) is not None for c in filled)


def own_unit(cell: str, dimension: str) -> str:
    """The unit a cell names behind its number, or nothing."""
    try:
        parted = split_number(cell)
    except QuantityError:
        return ""
    if parted is None or not parted[1]:
        return ""
    suffix = re.search(r" (abs|absolute|gauge)$", parted[1])
    unit = known_unit(parted[1][: suffix.start()] if suffix else parted[1], dimension)
    if unit is None and dimension == "angle" and parted[1].lower() in _ANGLES:
        return "deg crank"
    return unit + (suffix[0] if suffix else "") if unit else ""
