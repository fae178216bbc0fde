"""A measured lobe as a page: what was understood, what was changed, what it is and how sure."""

from __future__ import annotations

import csv
import io

from breathe.engine.quantities import System, from_si, user_unit
from breathe.measured.told import in_lines
from breathe.measured.zero import told_from_overlap
from breathe.study.lobe import (
    CHECKING_HEIGHTS_M,
    DIAL_M,
    NOSE_DEG,
    WHEEL_DEG,
    AtHeight,
    LobeFigures,
    Motion,
    Peak,
)
from breathe.valvetrain.timing import in_words
from breathe.view import cautions
from breathe.view.console import Grid, Item, Piece

_LEFT = frozenset({0})
_MOST_ROWS = 12


def lobe_page(figures: LobeFigures, rpm: float, system: System = "metric") -> list[Piece]:
    """The page of one lobe; speeds at ``rpm`` of the engine."""
    return [
        *_understood(figures),
        *_rows(figures),
        *_questions(figures),
        *_verdict(figures, system),
        *_durations(figures, system),
        *_shape(figures, system),
        *_motion(figures, rpm, system),
        *_how_sure(figures, system),
        Item(cautions.CLEARANCE),
    ]


def _understood(figures: LobeFigures) -> list[Piece]:
    readings = figures.measured.readings
    lines = [*readings.understood, figures.measured.placed.words]
    title = f"{readings.name}: understood as"
    return [title, *(Item(line, indent=2) for line in lines), ""]


def _rows(figures: LobeFigures) -> list[Piece]:
    readings = figures.measured.readings
    counts = {
        done: len({note.row for note in readings.row_notes if note.done == done})
        for done in ("repaired", "dropped", "blank")
    }
    title = (
        f"Rows: {readings.rows_read} read, {readings.rows_used} used; of them "
        f"{counts['repaired']} repaired; {counts['dropped']} dropped"
    )
    if counts["blank"]:
        title += f"; {counts['blank']} blank"
    blank = [note for note in readings.row_notes if note.done == "blank"]
    notes = [note for note in readings.row_notes if note.done != "blank"]
    lines = [Item(line, 2) for line in in_lines([*blank, *notes[:_MOST_ROWS]])]
    if len(notes) > _MOST_ROWS:
        rows = ", ".join(f"{note.row} {note.done}" for note in notes[_MOST_ROWS:])
        lines.append(Item(f"rows {rows}", 2))
    return [title, *lines, ""]


def _questions(figures: LobeFigures) -> list[Piece]:
    told = figures.measured.questions
    page: list[Piece] = []
    for title, lines in (
        ("Questions", [one for one in told if "?" in one]),
        ("Notes", [one for one in told if "?" not in one]),
    ):
        if lines:
            page += [title, *(Item(one, 2) for one in lines), ""]
    return page


def _verdict(figures: LobeFigures, system: System) -> list[Piece]:
    verdict = figures.verdict
    if verdict is None:
        return []
    found = verdict.found
    words = (
        "as ordered, within the doubt"
        if verdict.agrees
        else f"{abs(verdict.difference_deg):.1f} deg "
        f"{'longer' if verdict.difference_deg > 0 else 'shorter'} than ordered, more than the doubt"
    )
    text = (
        f"Ordered: {verdict.ordered_deg:g} deg crank at {_height(verdict.height_m, system)}. "
        f"Measured: {found.value:.1f} ± {found.doubt:.1f}. The duration is {words}."
    )
    return [Item(text), ""]


def _height(height_m: float, system: System) -> str:
    metric = f"{height_m * 1e3:.2f} mm"
    inches = f"{from_si(height_m, 'length', 'in'):.3f} in"
    return inches if system == "imperial" else metric


def _durations(figures: LobeFigures, system: System) -> list[Piece]:
    known = figures.measured.placed.zero in ("firing", "overlap")
    header = ["lift", "duration", "opens", "closes", "difference", "middle"]
    rows = [_duration_row(one, system) for one in figures.heights]
    if known:
        header += ["from", "to"]
        rows = [
            (*row, *_events(figures, one)) for row, one in zip(rows, figures.heights, strict=True)
        ]
    title = (
        "Durations, crank degrees: opens before and closes after the nose, the difference of the "
        "two flanks, and the middle of the opening after the nose"
    )
    page: list[Piece] = [
        Grid(title=title, header=tuple(header), rows=tuple(rows), left=_LEFT, lead=1)
    ]
    if any(one.guessed for one in figures.heights):
        page.append(Item("? the readings stop above this lift or have a gap there: guessed", 0, 2))
    return [*page, ""]


def _duration_row(one: AtHeight, system: System) -> tuple[str, ...]:
    doubtful = "?" if one.guessed else ""
    return (
        _height(one.height_m, system) + doubtful,
        f"{one.duration.value:.1f} ± {one.duration.doubt:.1f}",
        f"{one.before_nose.value:.1f} ± {one.before_nose.doubt:.1f}",
        f"{one.after_nose.value:.1f} ± {one.after_nose.doubt:.1f}",
        f"{one.difference_deg:+.1f}",
        f"{one.middle.value:+.2f} ± {one.middle.doubt:.2f}",
    )


def _events(figures: LobeFigures, one: AtHeight) -> tuple[str, str]:
    placed, nose = figures.measured.placed, figures.measured.smoothed.nose_deg
    middle = nose + placed.shift_deg
    dead_centres = (360.0, 540.0) if placed.side != "exhaust" else (180.0, 360.0)
    opens, closes = middle - one.before_nose.value, middle + one.after_nose.value
    return in_words(opens, dead_centres[0]), in_words(closes, dead_centres[1])


def _shape(figures: LobeFigures, system: System) -> list[Piece]:
    unit, digits = user_unit("length", system), 3 if system == "metric" else 4
    peak, nose = figures.peak_m, figures.nose_deg
    placed = figures.measured.placed

    def length(value: float, sign: str = "") -> str:
        return f"{from_si(value, 'length', unit):{sign}.{digits}f} {unit}"

    lines = [
        f"Peak lift {length(peak.value)} ± {length(peak.doubt)}",
        f"Nose at {nose.value:.2f} ± {nose.doubt:.2f} deg crank on the wheel (middle of equal "
        "lifts at 80 to 95 % of the peak)",
    ]
    if placed.zero in ("firing", "overlap"):
        after = nose.value + placed.shift_deg - 360.0
        sure = "" if placed.sure else ", if 0 is where it seems to be"
        lines.append(f"Centreline {told_from_overlap(after)} ± {nose.doubt:.1f} deg crank{sure}")
    else:
        lines.append("Centreline: not known, for the wheel's 0 is not at a TDC")
    lines += _dwell(figures)
    apart = figures.flanks_apart_m
    larger = "opening" if apart > 0 else "closing"
    lines.append(
        f"Flank against flank: they differ by at most {length(abs(apart))}, at "
        f"{figures.flanks_apart_at_deg:.0f} deg crank from the nose, where the {larger} flank is "
        "higher"
    )
    change = figures.largest_change_m
    side = "after" if figures.largest_change_at_deg > 0 else "before"
    lines.append(
        f"Smoothing changed a reading by at most {length(change, '+')}, in row "
        f"{figures.largest_change_row}, {abs(figures.largest_change_at_deg):.0f} deg crank {side} "
        f"the nose; readings scatter by {length(figures.measured.smoothed.curve.scatter_m)}"
    )
    return [*(Item(line) for line in lines), ""]


def _dwell(figures: LobeFigures) -> list[str]:
    found = figures.dwell
    if found is None:
        return []
    where = (
        f"{-found.first.value:.1f} ± {found.first.doubt:.1f} before to {found.last.value:.1f} ± "
        f"{found.last.doubt:.1f} after the nose"
    )
    if figures.measured.placed.zero in ("firing", "overlap"):
        middle = figures.nose_deg.value + figures.measured.placed.shift_deg - 360.0
        first, last = (told_from_overlap(middle + x.value) for x in (found.first, found.last))
        where += f" ({first} to {last})"
    return [
        f"Dwell at full lift {found.length.value:.1f} ± {found.length.doubt:.1f} deg crank, from "
        f"{where}; the opening flank is {found.opening_deg:.1f} wide and the closing flank "
        f"{found.closing_deg:.1f}, from {CHECKING_HEIGHTS_M[0] * 1e3:g} mm to the dwell"
    ]


def _motion(figures: LobeFigures, rpm: float, system: System) -> list[Piece]:
    unit = "mm" if system == "metric" else "in"
    speed_unit, fast = ("m/s", 1.0) if system == "metric" else ("ft/s", 1 / 0.3048)
    per_second = 6 * rpm / 2  # cam degrees a second
    lift = from_si(1.0, "length", unit)
    header = ("", f"{unit}/deg cam", "at deg cam", f"{speed_unit} at {rpm:.0f} rpm")
    rows = [
        _peak_row(f"velocity, {name}", peak, lift, per_second * fast, 4)
        for name, peak in _flanks(figures.velocity)
    ]
    title = "Velocity, greatest on each flank; angles from the nose, speed of the engine"
    page: list[Piece] = [Grid(title=title, header=header, rows=tuple(rows), left=_LEFT), ""]
    found = figures.acceleration
    if found is None:
        why = figures.acceleration_words.partition(": ")[2]
        return [*page, Item(f"Acceleration: not shown. {why[0].upper()}{why[1:]}."), ""]
    header = ("", f"{unit}/deg2 cam", "at deg cam", f"{speed_unit}2 at {rpm:.0f} rpm")
    rows = [
        _peak_row(f"acceleration, {name}", peak, lift, per_second**2 * fast, 5)
        for name, peak in _flanks(found)
    ]
    page.append(Grid(title="Acceleration", header=header, rows=tuple(rows), left=_LEFT))
    if figures.acceleration_words:
        page.append(Item(f"Warning: {figures.acceleration_words}. Do not choose springs by it."))
    return [*page, ""]


def _flanks(motion: Motion) -> list[tuple[str, Peak]]:
    flanks = [("opening flank", motion.opening), ("closing flank", motion.closing)]
    return flanks + ([("nose", motion.nose)] if motion.nose else [])


def _peak_row(
    name: str, peak: Peak, lift: float, per_second: float, digits: int
) -> tuple[str, ...]:
    value, doubt = peak.value * lift, peak.doubt * lift
    digits += 1 if lift < 100 else 0
    fast, unsure = peak.value * per_second, peak.doubt * per_second
    places = 2 if abs(fast) < 100 else 0
    return (
        name,
        f"{value:.{digits}f} ± {doubt:.{digits}f}",
        f"{peak.from_nose_deg:.1f}",
        f"{fast:.{places}f} ± {unsure:.{places}f}",
    )


def _how_sure(figures: LobeFigures, system: System) -> list[Piece]:
    wheel = WHEEL_DEG * (2 if figures.measured.readings.wheel == "cam" else 1)
    window = figures.measured.smoothed.curve.window_deg / 2
    unit = user_unit("length", system)
    text = (
        "± is half of a 95 % interval: the smoothing spline's interval of lift (stiffness by "
        "robust cross-validation) divided by the slope there, with what smoothing may hide, "
        f"{wheel:g} deg crank of wheel reading a side and {from_si(DIAL_M, 'length', unit):.2g} "
        f"{unit} of dial zero (common practice, no source). Steps of "
        f"{figures.measured.step_deg:.3g} deg crank; the line averages over about {window:.1f} cam "
        "deg, and sharper peaks of acceleration than that are flattened. Acceleration at the nose "
        f"is the mean over {max(NOSE_DEG / 2, window):.2g} cam deg on either side of it, or beyond "
        "its dwell."
    )
    return [Item(text), ""]


def lobe_csv(figures: LobeFigures) -> str:
    """All figures as a tidy table, SI but for degrees."""
    rows: list[tuple[str, str, float, float, str]] = []
    for one in figures.heights:
        at = f"{one.height_m:.6g}"
        for name, figure in (
            ("duration", one.duration),
            ("opens before nose", one.before_nose),
            ("closes after nose", one.after_nose),
            ("middle after nose", one.middle),
        ):
            rows.append((name, at, figure.value, figure.doubt, "deg crank"))
    rows.append(("peak lift", "", figures.peak_m.value, figures.peak_m.doubt, "m"))
    nose = figures.nose_deg
    rows.append(("nose on the wheel", "", nose.value, nose.doubt, "deg crank"))
    for name, motion, unit in (
        ("velocity", figures.velocity, "m/deg cam"),
        ("acceleration", figures.acceleration, "m/deg2 cam"),
    ):
        for place, peak in _flanks(motion) if motion else []:
            rows.append((f"{name}, {place}", "", peak.value, peak.doubt, unit))
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(("figure", "checking_height_m", "value", "doubt_95", "unit"))
    writer.writerows((n, h, f"{v:.8g}", f"{d:.3g}", u) for n, h, v, d, u in rows)
    return out.getvalue()
