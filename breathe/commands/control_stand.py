"""Where the parts of the valve gear stand that a control map does not move."""

from __future__ import annotations

import re
from collections.abc import Sequence

from breathe.commands import control_words as words
from breathe.engine.parts import Engine
from breathe.errors import BreatheError
from breathe.study.control.asked import shown_as
from breathe.study.gear import Gear


def stand_of(
    engine: Engine, gear: Gear, which: int, typed: Sequence[str], where: str = "--stand"
) -> tuple[float, ...]:
    """Crank degrees along every axis; zero where nothing was typed.

    Raises
    ------
    BreatheError
        No axis that stands, or a place it cannot reach; the text is named.
    """
    stand = [0.0] * len(gear.axes)
    others = [axis.name for n, axis in enumerate(gear.axes) if n != which]
    for text in typed:
        found = re.fullmatch(r"\s*(\w+ \w+)[ =:]+(\S.*)", text)
        name = found[1].lower() if found else ""
        if found is None or name not in others:
            can = f"one of: {', '.join(others)}" if others else "nothing else moves here"
            raise BreatheError(
                f'{where}: found {text!r}; expected an axis and its place, such as "intake phase '
                f'-8 deg"; {can}'
            )
        n = [axis.name for axis in gear.axes].index(name)
        axis = gear.axes[n]
        shown = shown_as(engine, axis)
        place = words.place(found[2], shown, shown, axis, where)
        if not axis.low_deg - 1e-6 <= place <= axis.high_deg + 1e-6:
            raise BreatheError(
                f"{where}: found {text!r}; the {name} goes from {shown.of(axis.low_deg):g} to "
                f"{shown.of(axis.high_deg):g} deg crank"
            )
        stand[n] = place
    return tuple(stand)


def stands_told(engine: Engine, gear: Gear, which: int, stand: Sequence[float]) -> list[str]:
    """What stands where, what the map therefore holds for, and how else to ask."""
    others = [(n, axis) for n, axis in enumerate(gear.axes) if n != which]
    if not others:
        return []
    places = []
    for n, axis in others:
        if axis.kind == "dwell":
            at = shown_as(engine, axis).of(stand[n])
            short = ", its shortest" if stand[n] <= 0.05 else ""
            places.append(f"the {axis.side} sleeve at {at:g}°{short}")
        else:
            turn = f"{abs(stand[n]):g}° {'later' if stand[n] > 0 else 'earlier'}"
            places.append(f"the {axis.side} cam {turn if stand[n] else 'not turned'}")
    own, other = gear.axes[which].name, others[0][1].name
    return [
        f"What stands, in every cell: {' and '.join(places)}. This map moves the "
        f"{own} alone and holds only while the rest stands there, so two such maps are not to be "
        f'run together. Maps that belong together: --actuator "{own}" --actuator "{other}". '
        f'--actuator "{other}" alone maps the other, --stand puts the rest elsewhere.'
    ]
