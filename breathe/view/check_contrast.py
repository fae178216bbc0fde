"""The same duration by this sleeve, by a stretched lobe and by the standard cam, side by side."""

from __future__ import annotations

from breathe.engine.quantities import System, from_si
from breathe.study.checks.check import Check
from breathe.study.checks.contrast import Contrast, Way
from breathe.view.check_figures import length, quantity
from breathe.view.console import Grid, Item, Piece
from breathe.view.unit_text import in_user_units


def contrast(found: Check, system: System) -> list[Piece]:
    """A table for each duration contrasted, and what it says of the mechanism."""
    page: list[Piece] = []
    for one in found.contrasts:
        page += [
            _table(one, found.speeds.limit_rpm, system),
            Item(_told(one, system), indent=2),
            "",
        ]
    return page


def _table(one: Contrast, limit_rpm: float, system: System) -> Grid:
    unit = "in" if system == "imperial" else "mm"
    title = (
        f"{one.side.capitalize()}: {one.duration_deg:.0f} deg crank at 0.1 mm, zero lash, reached "
        "in different ways; sleeve and stretched lobe open about one middle"
    )
    names = [in_user_units(way.label, system) for way in one.ways]
    rows = [
        ("duration at 1 mm, deg crank", *(f"{way.duration_1mm_deg:.0f}" for way in one.ways)),
        (f"lift area, {unit} x deg", *(_area(way, unit) for way in one.ways)),
        (
            f"acceleration at {limit_rpm:.0f} rpm",
            *(quantity(way.acceleration_m_per_s2, "m/s2", system) for way in one.ways),
        ),
        (
            "deceleration, spring makes it",
            *(quantity(way.deceleration_m_per_s2, "m/s2", system) for way in one.ways),
        ),
        ("leaves the lobe from", *(_leaves(way) for way in one.ways)),
        (f"valve to piston, worst, {unit}", *(_gap(way, system) for way in one.ways)),
        ("", *(way.gap.verdict if way.gap else "" for way in one.ways)),
    ]
    return Grid(
        title=in_user_units(title, system),
        header=(
            "",
            *(
                name.replace(" at ", "\nat ").replace(" x ", "\nx ").replace(" as ", "\nas ")
                for name in names
            ),
        ),
        rows=tuple(rows if rows[-1][1] else rows[:-1]),
        left=frozenset({0}),
    )


def _area(way: Way, unit: str) -> str:
    return f"{from_si(way.area_m_deg, 'length', unit):.{0 if unit == 'mm' else 1}f}"


def _leaves(way: Way) -> str:
    return "NOT CHECKED" if way.leaves_rpm is None else f"{way.leaves_rpm:.0f} rpm"


def _gap(way: Way, system: System) -> str:
    if way.gap is None or way.gap.value is None:
        return "NOT CHECKED"
    return length(way.gap.value, system)


def _told(one: Contrast, system: System) -> str:
    """What the sleeve gains and pays against the stretched lobe, in words."""
    sleeve, lobe = one.ways[0], one.ways[1]
    area = (sleeve.area_m_deg / lobe.area_m_deg - 1.0) * 100
    decelerates = (sleeve.deceleration_m_per_s2 / lobe.deceleration_m_per_s2 - 1.0) * 100
    text = (
        f"Against the stretched lobe this sleeve opens {_more(area)} lift area, and asks "
        f"{_more(decelerates)} deceleration of the spring"
    )
    if sleeve.leaves_rpm is not None and lobe.leaves_rpm is not None:
        text += (
            f": its follower leaves the lobe at {sleeve.leaves_rpm:.0f} rpm, the stretched lobe's "
            f"at {lobe.leaves_rpm:.0f} rpm"
        )
    if sleeve.gap is not None and lobe.gap is not None:
        nearer = (lobe.gap.value or 0.0) - (sleeve.gap.value or 0.0)
        way = "nearer to" if nearer > 0 else "farther from"
        text += f"; its valve stays {quantity(abs(nearer), 'm', system)} {way} the piston"
    return f"{text}."


def _more(percent: float) -> str:
    return f"{abs(percent):.0f} % {'more' if percent > 0 else 'less'}"
