"""What a control map tells in sentences."""

from __future__ import annotations

from typing import Any

import pandas as pd

from breathe.about import About
from breathe.engine.quantities import System, written
from breathe.study.control.answer import Control
from breathe.study.control.cells import LIGHTEST_BMEP_PA
from breathe.view.control_limits import limits_told, per_load, setting_shown

_GAUGE_SHARE = 0.03
"""Share by which a gauge may read another load than its row without a word."""
_HIDDEN_SHARE = 0.35
"""Share of full-load torque between the last two points of an axis that is worth a word."""


def findings(found: Control, about: About, system: System) -> list[str]:
    """Sentences, each complete."""
    return [
        *gains(found, about),
        *_throttle(found, system),
        *axis_told(found, system),
        *limits_told(found, system),
        *not_checked(found),
        *steps_told(found),
        *actuator_told(found, system),
        *_pedal(found),
        *gear_change_told(found),
        *_fallback(found),
        *_anchors(found),
        runs_told(found),
    ]


def gains(found: Control, about: About) -> list[str]:
    """Most and mean saving below full load, most gain at full load."""
    cells, told = found.cells, []
    part = cells[(cells.kind == "part load") & cells.against_standard.notna()]
    full = cells[cells.kind.str.endswith("full load") & cells.against_standard.notna()]
    full = full.drop_duplicates("speed_rpm", keep="last")  # what lies above holds its setting
    tie = found.facts["tie"]
    if len(part):
        best = part.nlargest(1, "against_standard").iloc[0]
        if best.against_standard > tie:
            told.append(
                f"Fuel: up to {best.against_standard * 100:.1f} % less than {about.standard} with "
                f"its throttle ({cell_name(found, best.speed_rpm, best.load)}){_mean_of(part)}. "
                f"Differences below {tie * 100:g} % are ties; {_unsure(found)}"
            )
        else:
            told.append(f"Fuel: no cell saves more than a tie against {about.standard}.")
        told[-1] += _worse(found, part, "it burns more")
    if len(full):
        best = full.nlargest(1, "against_standard").iloc[0]
        if best.against_standard > tie:
            told.append(
                f"Full load: up to {best.against_standard * 100:.1f} % more torque than "
                f"{about.standard} ({best.speed_rpm:.0f} rpm)." + _worse(found, full, "it has less")
            )
    return told


def _unsure(found: Control) -> str:
    if len(found.equal):
        return "what friction and burning may change stands beside each setting above."
    return "friction and burning, as assumed, are not in that."


def _mean_of(part: pd.DataFrame) -> str:
    if len(part) < 2:
        return ""
    mean = part.against_standard.mean() * 100
    return f"; {mean:+.1f} % in the mean of {len(part)} cells at part load"


def _worse(found: Control, cells: pd.DataFrame, what: str) -> str:
    """Where the standard does better, if anywhere by more than a tie."""
    worst = cells.nsmallest(1, "against_standard").iloc[0]
    if worst.against_standard >= -found.facts["tie"]:
        return ""
    where = cell_name(found, worst.speed_rpm, worst.load)
    count = int((cells.against_standard < -found.facts["tie"]).sum())
    cells_ = f"{count} cell{'s' if count > 1 else ''}"
    return f" In {cells_} {what}, most by {-worst.against_standard * 100:.1f} % ({where})."


def cell_name(found: Control, speed: float, load: float) -> str:
    """A cell in the user's units."""
    scale = found.facts["load"]
    return f"{speed:.0f} rpm, {load / scale['si']:g} {scale['unit']}"


def _throttle(found: Control, system: System) -> list[str]:
    """The plain limit of late closing."""
    one = found.facts["throttle_needed"]
    if one is None or not (found.cells.kind == "part load").any():
        return []
    shown = setting_shown(found, one["setting"])
    least = written(one["open_bmep_Pa"], "pressure difference", system, digits=2)
    most = written(one["open_bmep_most_Pa"], "pressure difference", system, digits=2)
    alone = (
        f"{least} at {one['open_speed_rpm']:.0f} rpm"
        if one["open_speed_rpm"] == one["open_most_speed_rpm"]
        else f"{least} at {one['open_speed_rpm']:.0f} rpm and {most} at "
        f"{one['open_most_speed_rpm']:.0f} rpm"
    )
    return [
        f"{shown} closes at {one['closes_abdc_deg']:.0f} ABDC and leaves "
        f"{one['stroke_left'] * 100:.0f} % of the stroke: throttle still needed below the "
        f"{alone} it gives with the throttle open (BMEP). {one['later_abdc_deg']:.0f} ABDC would "
        f"leave {one['later_stroke_left'] * 100:.0f} %. Closing counted on the card, at 0.1 mm; "
        "at speed the valve lets less back than geometry says."
    ]


def axis_told(found: Control, system: System) -> list[str]:
    """What the load axis leaves out or cannot tell apart."""
    scale, ends = found.facts["load"], top_told(found)
    told = list(ends)
    if not ends and scale["axis"] != "bmep" and found.cells["load"].nunique() > 1:
        told += _hidden(found, system)
    if scale["axis"] == "map":
        told += _gauge(found)
    return [*told, *light_told(found, system)]


def top_told(found: Control) -> list[str]:
    """Where the load axis ends below full load."""
    cells, scale = found.cells, found.facts["load"]
    top = cells[cells["load"] == cells["load"].max()].sort_values("speed_rpm")
    below = top[~top["kind"].str.contains("full")]
    if cells["load"].nunique() < 2 or not len(below):
        return []
    at = ""
    if len(below) < len(top):
        at = f" at {', '.join(f'{speed:.0f}' for speed in below['speed_rpm'])} rpm"
    return [
        f"The axis ends at {top['load'].iloc[0] / scale['si']:g} {scale['unit']}, below full load"
        f"{at}: more load than that holds this row, which is set for fuel{' there' if at else ''}. "
        "Add a row of full load."
    ]


def light_told(found: Control, system: System) -> list[str]:
    """Cells that are lighter than what is trusted."""
    light = int((found.cells.kind == "too light").sum())
    if not light:
        return []
    least = written(LIGHTEST_BMEP_PA, "pressure difference", system, digits=2)
    return [
        f"{light} cell{'s lie' if light > 1 else ' lies'} below {least} of BMEP: idle and "
        "overrun, outside what is trusted, held from the lightest load above."
    ]


def _gauge(found: Control) -> list[str]:
    """Where a smoothed cell's gauge reads something else than its row."""
    part, scale = found.cells[found.cells.kind == "part load"], found.facts["load"]
    off = (part["manifold_pressure_Pa"] / part["load"] - 1.0).abs()
    if not len(part) or off.max() < _GAUGE_SHARE:
        return []
    one = part.loc[[off.idxmax()]].iloc[0]
    return [
        f"At the map's setting the gauge reads {one['manifold_pressure_Pa'] / scale['si']:.3g} "
        f"{scale['unit']} where the row says {one['load'] / scale['si']:g} "
        f"({one['speed_rpm']:.0f} rpm), and less far off elsewhere: each cell is worked out at the "
        "torque that its best setting gives at the row's reading."
    ]


def _hidden(found: Control, system: System) -> list[str]:
    """Where most of the torque lies between the last two points of a gauge axis."""
    cells, scale = found.cells, found.facts["load"]
    top = cells[cells["load"] == cells["load"].max()]
    named = f"{top['load'].iloc[0] / scale['si']:g} {scale['unit']}"
    below = cells[cells["load"] == sorted(cells["load"].unique())[-2]]
    both = top.merge(below, on="speed_rpm", suffixes=("", "_below"))
    both = both[both["kind_below"] == "part load"]
    if not len(both):
        return []
    share = 1.0 - both["bmep_Pa_below"] / both["bmep_Pa"]
    if share.max() < _HIDDEN_SHARE:
        return []
    worst = both.loc[[share.idxmax()]].iloc[0]
    low, high = (
        written(worst[name], "pressure difference", system, digits=2)
        for name in ("bmep_Pa_below", "bmep_Pa")
    )
    return [
        f"Between {worst['load_below'] / scale['si']:g} and {named} lies BMEP from {low} to {high} "
        f"({worst['speed_rpm']:.0f} rpm): with late closing the gauge tells little of the load "
        "there. An axis of torque asked (bmep) parts it."
    ]


def not_checked(found: Control) -> list[str]:
    """Clearances that were not checked, in words."""
    clear = found.facts["clear"]
    if clear["checked"]:
        return []
    return ["Clearance: NOT CHECKED; the engine file has none of the gaps it takes."]


def steps_told(found: Control) -> list[str]:
    """The steepest step over speed and over load."""
    steep, scale = found.facts["steepest"], found.facts["load"]
    told = []
    if steep["speed"]:
        one = steep["speed"]
        told.append(
            f"{abs(one['per_unit']) * 100:.1f}° per 100 rpm ({one['from'][0]:.0f} to "
            f"{one['to'][0]:.0f} rpm at {one['from'][1]:g} {scale['unit']})"
        )
    if steep["load"]:
        one = steep["load"]
        per, unit = per_load(scale)
        told.append(
            f"{abs(one['per_unit']) * per:.1f}° per {unit} ({one['from'][1]:g} to "
            f"{one['to'][1]:g} {scale['unit']} at {one['from'][0]:.0f} rpm)"
        )
    return [f"Steepest step: {' and '.join(told)}, crank degrees."] if told else []


def actuator_told(found: Control, system: System) -> list[str]:
    """Whether the actuator follows the map."""
    act, per_mm = found.facts["actuator"], found.facts["deg_per_mm"]
    if act["slew_deg_per_s"] is None or not act["used_deg"]:
        return []
    low, high = found.facts["safe"]
    span = act["cross_s"] * act["slew_deg_per_s"]
    if per_mm:
        way = f"{span / per_mm:.1f} mm at {act['slew_deg_per_s'] / per_mm:.0f} mm/s"
    else:
        way = f"{span:.0f}° at {act['slew_deg_per_s']:.0f} deg/s"
    told = [
        f"Actuator: {setting_shown(found, low)} to {setting_shown(found, high)}, {way}, takes "
        f"{act['cross_s']:.2f} s; what the map uses of it, {act['used_deg']:.0f}°, "
        f"{act['used_cross_s']:.2f} s. It stays put within {act['hysteresis_deg']:g}° of its "
        "target."
    ]
    if not act["followed"]:
        told.append(
            "The steps over speed are larger than the actuator follows at "
            f"{act['rev_rate_rpm_per_s']:.0f} rpm/s: no map within the limits keeps them smaller."
        )
    return told


def _pedal(found: Control) -> list[str]:
    """What the lag costs when load rises at once."""
    one, scale = found.facts["pedal"], found.facts["load"]
    if one is None or one["lost_at_first"] <= found.facts["tie"]:
        return []
    low, high = (f"{one[name] / scale['si']:g}" for name in ("from_load", "to_load"))
    told = [
        f"Pedal down at once from {low} to {high} {scale['unit']}: at worst "
        f"{one['lost_at_first'] * 100:.1f} % of full-load torque is missing at first "
        f"({one['speed_rpm']:.0f} rpm), and the actuator takes {one['takes_s']:.2f} s from "
        f"{setting_shown(found, one['from'])} to {setting_shown(found, one['to'])}."
    ]
    if one["pedal_s"] is None:
        told[0] += " Steps over load are not held smaller; --pedal does that."
    elif not one["followed"]:
        told.append(
            f"The steps over load are larger than the actuator follows in {one['pedal_s']:g} s: no "
            "map within the limits keeps them smaller."
        )
    return told


def gear_change_told(found: Control) -> list[str]:
    """What the lag of the actuator costs at a gear change."""
    if not len(found.change) or found.change["target"].nunique() < 2:
        return []
    one = found.change.iloc[0]
    rpm = found.change["speed_rpm"]
    return [
        f"Gear change {rpm.iloc[0]:.0f} to {rpm.iloc[-1]:.0f} rpm: the lag costs up to "
        f"{one['worst'] * 100:.1f} % of full-load torque after it, {one['mean_after'] * 100:.1f} % "
        f"in the mean of the next 0.5 s, and more than a tie for {one['behind_s']:.2f} s."
    ]


def _fallback(found: Control) -> list[str]:
    one = found.facts["fallback"]
    if one is None:
        return ["Fallback position: none given, so no map is exported."]
    where = setting_shown(found, one["shown"])
    return [
        f"Fallback {where}: costs up to {one['worst_lost'] * 100:.1f} % of "
        f"full-load torque ({one['worst_speed_rpm']:.0f} rpm); burnt gas at the lightest load up "
        f"to {one['residual_most'] * 100:.0f} % ({one['residual_speed_rpm']:.0f} rpm)."
    ]


def _anchors(found: Control) -> list[str]:
    told = []
    for one in found.facts["anchors"]:
        miss = one["map"] - one["measured"]
        kept = "kept" if abs(miss) <= found.facts["step"] else f"missed by {miss:+.1f}"
        where = cell_name(found, one["speed_rpm"], one["load"])
        told.append(
            f"Measured {one['measured']:g} at {where}: the map gives "
            f"{one['map']:.1f} there, {kept}. {_judged(found, one)}"
        )
    if told:
        told.append("Cells round a measured setting follow it, whatever the model wants of them.")
    return told


def _judged(found: Control, one: dict[str, Any]) -> str:
    """What the model thinks of a measured setting."""
    if one["given_up"] is None:
        return "The model judges nothing there: full and part load, or idle, lie round it."
    given, wanted = one["given_up"], f"{one['wanted']:.0f}"
    if given <= found.facts["tie"]:
        return f"The model agrees: it wants {wanted}, and finds no difference."
    return (
        f"The model does not agree: it wants {wanted}, and finds {given * 100:.1f} % of "
        f"{one['of']} given up. Trust the engine; look for why (cam timing, intake length)."
    )


def runs_told(found: Control) -> str:
    """How many cases were run, and how far the checked cells came off."""
    checks = found.facts["checks"]
    told = f"Model runs: {found.facts['model_runs']}."
    if not checks["settled"]:
        return told
    torque, fuel = checks["torque"], checks["fuel"]
    unsettled = checks["count"] - checks["settled"]
    also = f" {unsettled} did not settle." if unsettled else ""
    count = checks["count"]
    were = "cell was" if count == 1 else "cells were"
    return (
        f"{told} {count} {were} run at the map's setting and throttle: torque as "
        f"asked to {abs(torque['off']) * 100:.1f} % "
        f"({cell_name(found, torque['speed_rpm'], torque['load'])}), fuel per work as read off the "
        f"curves to {abs(fuel['off']) * 100:.1f} % "
        f"({cell_name(found, fuel['speed_rpm'], fuel['load'])}).{also}"
    )
