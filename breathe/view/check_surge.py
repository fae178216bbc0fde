"""Spring surge as a table: which speeds drive the coils, and how hard at each setting."""

from __future__ import annotations

from breathe.engine.parts import Side
from breathe.engine.quantities import System, from_si
from breathe.study.checks.check import Check
from breathe.study.checks.line import Line
from breathe.study.checks.stand import SIDES, mechanics_of
from breathe.view.check_figures import settings_text
from breathe.view.console import Grid, Item, Piece


def surge(found: Check, system: System) -> list[Piece]:
    """Spring cycles in a cam turn, and the lift harmonics that meet them, a column a setting."""
    page: list[Piece] = []
    for side in SIDES:
        page += [*_of_side(found, side, system), ""]
    rules = dict.fromkeys(line.rule for line in found.about("surge") if line.rule)
    if not rules:
        return page
    note = (
        "Dwell changes harmonics, so one setting drives the coils at a speed where another does "
        "not. Compare settings by these figures; no stress follows from them."
    )
    return [*page, *(Item(f"Rule: {rule}.") for rule in rules), Item(note), ""]


def _of_side(found: Check, side: Side, system: System) -> list[Piece]:
    lines = found.about("surge", side)
    spring = mechanics_of(found.engine).of(side).spring
    if not lines or spring is None or spring.surge_frequency_Hz is None:
        unknown = [line for line in found.not_checked if line.topic == "surge"]
        notes = [line.note for line in unknown if line.side == side] or ["no setting stands"]
        return [Item(f"{side.capitalize()} spring surge: NOT CHECKED ({notes[0]}).")]
    cycles = next(line for line in lines if line.limit is not None)
    name = f"{side.capitalize()} spring surge, {spring.surge_frequency_Hz:.0f} Hz"
    told = (
        f"{cycles.value or 0.0:.1f} spring cycles in a cam turn at {cycles.where}, "
        f"{_against(cycles)}"
    )
    driven = [line for line in lines if line.limit is None]
    if not driven:
        return [Item(f"{name}: {told}.")]
    unit = "thou" if system == "imperial" else "um"
    title = f"{name}: {told}. Lift harmonic that drives the coils, {unit}, more is worse"
    header, rows = _matrix(found, driven, unit)
    return [Grid(title=title, header=header, rows=rows, lead=2)]


def _against(cycles: Line) -> str:
    least = f"{cycles.limit:g}"
    return (
        f"at least the usual {least}" if cycles.verdict == "usual" else f"below the usual {least}"
    )


def _matrix(
    found: Check, driven: list[Line], unit: str
) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    """Speeds by settings; settings whose columns agree are one."""
    speeds = sorted({line.speed_rpm or 0.0 for line in driven})
    harmonic = {line.speed_rpm or 0.0: line.item.removeprefix("harmonic ") for line in driven}
    columns: dict[tuple[str, ...], list[str]] = {}
    known = [setting.label for setting in found.settings]
    for label in known:
        own = {line.speed_rpm: line.value or 0.0 for line in driven if line.setting == label}
        if own:
            digits = 1 if unit == "um" else 2
            cells = tuple(f"{from_si(own[one], 'length', unit):.{digits}f}" for one in speeds)
            columns.setdefault(cells, []).append(label)
    header = ("rpm", "harmonic", *(settings_text(labels, known) for labels in columns.values()))
    rows = tuple(
        (f"{speed:.0f}", harmonic[speed], *(cells[place] for cells in columns))
        for place, speed in enumerate(speeds)
    )
    return header, rows
