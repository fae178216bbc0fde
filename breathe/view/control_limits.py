"""Which limit holds a control map where: in sentences, and cell by cell."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from typing import Any

from breathe.engine.quantities import System, written
from breathe.study.control.answer import Control

LETTERS = {
    "travel": "T",
    "clearance": "C",
    "knock": "K",
    "burning": "B",
    "residual": "R",
    "vacuum": "V",
    "slew": "S",
    "slew over load": "P",
}
"""What stands in a cell for each limit."""


def limits_told(found: Control, system: System) -> list[str]:
    """Each limit that binds somewhere, with its cells, and those that bind nowhere in one line."""
    told, idle = [], []
    for limit in found.facts["limits"]:
        name = _name(found, limit, system)
        if limit["binds"]:
            # Ends are where the best would lie; smoothing may have drawn the cells off them.
            when = " before smoothing" if limit["limit"] in ("travel", "clearance") else ""
            told.append(f"Limit {name}: binds{when} at {cells_listed(found, limit['binds'])}.")
        elif not limit.get("not_kept"):
            idle.append(name)
        if limit.get("not_kept"):
            told.append(
                f"Limit {name}: no setting keeps it at {cells_listed(found, limit['not_kept'])}; "
                "the cheapest of those that miss it least is taken there. Expect rough running."
            )
    if idle:
        told.append(f"Limits that bind nowhere: {'; '.join(idle)}.")
    return told


def setting_shown(found: Control, setting: float) -> str:
    """With its unit, to what an actuator can tell apart; a turn with its sign."""
    if found.facts["shown"]["unit"] != "deg crank":
        return f"{round(setting, 2):g} mm"
    degrees = round(setting, 1)
    turn = found.facts["moves"].endswith("phase")
    return f"{degrees:+g}°" if turn and degrees else f"{degrees + 0.0:g}°"


def cells_listed(found: Control, places: Sequence[Sequence[float]]) -> str:
    """Cells row by row, high load first, neighbours over speed drawn together."""
    scale = found.facts["load"]
    speeds = sorted(set(found.cells["speed_rpm"]))
    own = found.cells["kind"].isin(["part load", "full load"])
    if len(places) == int(own.sum()) > 1:
        return f"all {len(places)} cells" + ("" if own.all() else " with a load of their own")
    rows = []
    for load in sorted({load for _, load in places}, reverse=True):
        here = [k for k, speed in enumerate(speeds) if [speed, load] in [list(p) for p in places]]
        runs = [
            [speeds[k] for _, k in some]
            for _, some in groupby(enumerate(here), lambda pair: pair[1] - pair[0])
        ]
        words = [_run(run) for run in runs]
        rows.append(f"{load / scale['si']:g} {scale['unit']}, {' and '.join(words)} rpm")
    return "; ".join(rows)


def _run(speeds: Sequence[float]) -> str:
    if len(speeds) < 3:
        return " and ".join(f"{speed:g}" for speed in speeds)
    return f"{speeds[0]:g} to {speeds[-1]:g}"


def letters(found: Control) -> tuple[list[list[str]], list[str]]:
    """Letters of the limits that hold each cell (m, n), loads rising, and what the letters mean.

    A small letter is a limit that no setting keeps there.
    """
    wide = found.cells.pivot(index="load", columns="speed_rpm", values="kind")
    used: dict[str, str] = {}
    loads, speeds = list(wide.index), list(wide.columns)
    texts = [["" for _ in speeds] for _ in loads]
    for limit in found.facts["limits"]:
        letter = LETTERS[limit["limit"]]
        for cells, mark in (("binds", letter), ("not_kept", letter.lower())):
            for speed, load in limit.get(cells, []):
                texts[loads.index(load)][speeds.index(speed)] += mark
                used[letter] = limit["limit"]
    meaning = [f"{letter} {name}" for letter, name in used.items()]
    if any(text != text.upper() for line in texts for text in line):
        meaning.append("small where no setting keeps it")
    return [[text or "." for text in line] for line in texts], meaning


def _name(found: Control, limit: dict[str, Any], system: System) -> str:
    name, value = limit["limit"], limit["value"]
    if name in ("travel", "clearance"):
        ends = f"{setting_shown(found, value[0])} to {setting_shown(found, value[1])}"
        beyond = found.facts["clear"]["beyond"]
        return f"{name} {ends}" + (f" ({beyond})" if name == "clearance" and beyond else "")
    if name == "residual":
        return f"residual at most {value * 100:.0f} % (rough running above; common practice)"
    if name == "knock":
        return f"knock index at most {value:g} with the spark retarded"
    if name == "burning":
        return "burning: not so diluted that it misfires"
    if name == "vacuum":
        vacuum = found.facts["vacuum"]
        below = written(vacuum["below_bmep_Pa"], "pressure difference", system, digits=2)
        return f"vacuum at least {value / 1e3:.0f} kPa below {below}"
    if name == "slew over load":
        per, unit = per_load(found.facts["load"])
        steep = value * found.facts["load"]["si"] * per
        return f"slew over load ({steep:.1f} deg crank per {unit})"
    return f"slew ({value * 100:.1f} deg crank per 100 rpm)"


def per_load(scale: dict[str, Any]) -> tuple[float, str]:
    """A handy amount of the load axis to count steps by, in its unit, and its words."""
    handy = {"kPa": (10.0, "10 kPa"), "bar": (1.0, "bar"), "%": (10.0, "10 %")}
    return handy.get(scale["unit"], (1.0, scale["unit"]))
