"""What a map of steps tells in sentences."""

from __future__ import annotations

from typing import Any

from breathe.about import About
from breathe.engine.quantities import System
from breathe.study.control.step_answer import StepControl
from breathe.view.control_found import cell_name, gains, light_told, runs_told, top_told
from breathe.view.control_limits import cells_listed, limits_told
from breathe.view.unit_text import in_user_units


def step_findings(found: StepControl, about: About, system: System) -> list[str]:
    """Sentences, each complete; of a single cell without those on switching."""
    switching = [
        *_hysteresis(found),
        *_seldom(found),
        *_rows(found),
        *_gauge(found),
        *_gear_change(found),
    ]
    many = len(found.cells) > 1
    return [
        *gains(found, about),
        *(_use(found) if many else []),
        *top_told(found),
        *light_told(found, system),
        *_clearance(found, system),
        *limits_told(found, system),
        *(switching if many else []),
        *_fallback(found),
        runs_told(found),
    ]


def _use(found: StepControl) -> list[str]:
    """What each step would give up alone, and steps that are held nowhere."""
    steps = [one for one in found.facts["steps"] if not one["does_not_clear"]]
    alone = [_alone(found, one) for one in steps if one["alone"] and one["alone"]["cells"]]
    told = []
    if alone:
        told.append(f"One step held everywhere gives up, of fuel or torque: {'; '.join(alone)}.")
    idle = [one["label"] for one in steps if not one["cells"]]
    held = len(steps) - len(idle)
    if idle and held == 1:
        told.append(
            f"Held in no cell: {', '.join(idle)}. One step suits the whole map: nothing is gained "
            "by switching."
        )
    elif idle:
        told.append(f"Held in no cell: {', '.join(idle)}. The other {held} do without.")
    return told


def _alone(found: StepControl, one: dict[str, Any]) -> str:
    alone = one["alone"]
    where = cell_name(found, alone["speed_rpm"], alone["load"])
    told = f"{one['label']} {alone['mean'] * 100:.1f} % in the mean, at worst "
    told += f"{alone['worst'] * 100:.1f} % ({where})"
    if alone["not_allowed"]:
        told += f", and passes limits in {_cells(alone['not_allowed'])}"
    if alone["not_known"]:
        told += f", and does not give the torque, or is not known, in {_cells(alone['not_known'])}"
    return told


def _cells(count: int) -> str:
    return f"{count} cell{'s' if count > 1 else ''}"


def _failing(found: StepControl) -> dict[str, str]:
    return {
        one["label"]: one["does_not_clear"] for one in found.facts["steps"] if one["does_not_clear"]
    }


def _clearance(found: StepControl, system: System) -> list[str]:
    unknown = found.facts["unknown_clearances"]
    told = [
        f"Never held, does not clear: {label}, {in_user_units(gap, system)}."
        for label, gap in _failing(found).items()
    ]
    if unknown:
        told.append(f"Clearance: NOT CHECKED for {', '.join(unknown)}.")
    else:
        told.append("Clearance: every step of the map keeps the rules, with the tolerances given.")
    return told


def _hysteresis(found: StepControl) -> list[str]:
    """Where the band is narrower than asked, or nothing is known between two cells."""
    if not len(found.switches):
        return ["Nothing switches along speed."]
    asked = found.facts["hysteresis_rpm"]
    some = found.switches.assign(band=found.switches["up_rpm"] - found.switches["down_rpm"])
    narrow = some[(some["band"] < asked - 0.5) & some["proven"].astype(bool)]
    kept = int((some["band"] >= asked - 0.5).sum())
    told = [f"Hysteresis: {asked:g} rpm asked, kept at {kept} of {len(some)} switches."]
    if len(narrow):
        least = narrow.nsmallest(1, "band").iloc[0]
        told[0] += (
            f" Narrower at {len(narrow)}, where limits or the next switch leave no more room, "
            f"least {least['band']:.0f} rpm ({_between(found, least)})."
        )
    for row in some[~some["proven"].astype(bool)].to_dict("records"):
        told.append(
            f"No step is known to keep the limits everywhere between {_between(found, row)}: it "
            f"switches half way, at {row['up_rpm']:.0f} rpm, without hysteresis. Add a speed there."
        )
    return told


def _seldom(found: StepControl) -> list[str]:
    """What --give-up would buy."""
    now, *more = found.facts["seldom"]
    left, least = [], now["switches"]
    for one in more:
        if one["switches"] < least:
            least = one["switches"]
            left.append(
                f"{one['give_up'] * 100:g} % leaves {least} ({one['mean'] * 100:.1f} % in the mean)"
            )
    if not left:
        return []
    return [
        f"Switches along speed: {now['switches']}. Giving up more in a cell (--give-up) leaves "
        f"fewer: {', '.join(left)}."
    ]


def _between(found: StepControl, row: object) -> str:
    scale = found.facts["load"]
    low, high, load = (row[name] for name in ("below_rpm", "above_rpm", "load"))  # type: ignore[index]
    return f"{low:.0f} and {high:.0f} rpm at {load / scale['si']:g} {scale['unit']}"


def _rows(found: StepControl) -> list[str]:
    """What the look-up rule means near the next axis point."""
    beyond = found.facts["not_allowed_beyond"]
    told = [
        "Look-up: the row of the load at or below (with some hysteresis of load too); along it the "
        "switch speeds above. No step lies between two. Outside the axes: hold the edge."
    ]
    if beyond["load"]:
        told.append(
            "Just below the next row up, the step of the row below is still held, which that row "
            f"does not allow: {cells_listed(found, beyond['load'])}. Add a row of load there."
        )
    if beyond["speed"]:
        told.append(
            "A controller that takes the table alone (cell at or below, no switch speeds) holds a "
            "step up to the next speed, which does not allow it: "
            f"{cells_listed(found, beyond['speed'])}."
        )
    cells = found.cells
    loads = sorted(set(cells["load"]))
    if len(loads) > 1:
        top, under = (
            list(cells[cells["load"] == load].sort_values("speed_rpm")["label"])
            for load in loads[:-3:-1]
        )
        full = cells[cells["load"] == loads[-1]]["kind"].str.contains("full").any()
        if full and top != under:
            scale = found.facts["load"]
            told.append(
                f"Pedal down must read the top row, {loads[-1] / scale['si']:g} {scale['unit']}: "
                "just below it the step of the row below is held."
            )
    return told


def _gauge(found: StepControl) -> list[str]:
    """What a switch itself does to the gauge that chose the row."""
    one, scale = found.facts["reading_moves"], found.facts["load"]
    if one is None:
        return []
    return [
        f"A switch at equal torque moves the reading by up to {one['away'] / scale['si']:.2g} "
        f"{scale['unit']} ({cell_name(found, one['speed_rpm'], one['load'])}): give the rows more "
        "hysteresis than that, or the switch undoes itself."
    ]


def _gear_change(found: StepControl) -> list[str]:
    one = found.facts["gear_change"]
    if one is None:
        return []
    count = one["changes"]
    way = f"Gear change {one['from_rpm']:.0f} to {one['to_rpm']:.0f} rpm in {one['lasts_s']:g} s"
    if not count:
        return [f"{way}: it crosses no switch."]
    times = "once" if count == 1 else f"{count} times"
    own = one["changes_over_speed"]
    kept = "none" if not own else ("once" if own == 1 else f"{own} times")
    return [
        f"{way}: the step is switched {times}, the pedal lifted between; {kept} for speed alone. "
        + ("Hold the step while the clutch is down to save the others." if count > own else "")
    ]


def _fallback(found: StepControl) -> list[str]:
    one = found.facts["fallback"]
    if one is None:
        return ["Fallback step: none given, so no map is exported."]
    told = [f"Fallback, without power: step {one['number']}, {one['label']}."]
    if one["worst_lost"] is not None:
        told.append(
            f"It costs up to {one['worst_lost'] * 100:.1f} % of full-load torque "
            f"({one['worst_speed_rpm']:.0f} rpm)."
        )
    if one["residual_most"] is not None:
        told.append(
            f"Burnt gas at the lightest load: up to {one['residual_most'] * 100:.0f} % "
            f"({one['residual_speed_rpm']:.0f} rpm)."
        )
    return [" ".join(told)]
