"""The same duration reached by this sleeve, by a stretched lobe, and by the standard cam.

A sleeve keeps its flanks, so acceleration stays that of the shortest setting; a lobe ground longer
spreads the same lift over more angle. All ways stand with the middle of the opening at one place.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import isfinite

from breathe.engine.parts import Engine, Setting, Side
from breathe.study.checks.clearance import piston_lines
from breathe.study.checks.line import Line
from breathe.study.checks.stand import SIDES, Speeds, Stand, lift_span, stand
from breathe.study.describe import sleeve_at
from breathe.valvetrain.loads import separation
from breathe.valvetrain.motion import peaks, per_second
from breathe.valvetrain.timing import lift_area_m_deg

_SAME_DEG = 0.5
"""Durations nearer than this are the same."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """One way of reaching a duration."""

    label: str
    """Such as 'sleeve at 7.2 mm'."""
    duration_1mm_deg: float
    """Crank degrees above 1.0 mm, zero lash."""
    area_m_deg: float
    """Under the lift curve, lash taken off."""
    acceleration_m_per_s2: float
    """Largest away from the seat, at the speed limit."""
    deceleration_m_per_s2: float
    """Largest towards the seat, which the spring has to make."""
    leaves_rpm: float | None
    """Engine speed at which the follower leaves the lobe; None where springs are not known."""
    gap: Line | None
    """The tightest of all tolerance cases to the piston."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Contrast:
    """Ways to one duration, side by side."""

    side: Side
    duration_deg: float
    """Crank degrees at 0.1 mm, zero lash."""
    ways: tuple[Way, ...]


def contrasts(engine: Engine, settings: Sequence[Setting], speeds: Speeds) -> tuple[Contrast, ...]:
    """For the longest and the standard duration of each cam that has a sleeve."""
    found = []
    for side in SIDES:
        cam = engine.intake_cam if side == "intake" else engine.exhaust_cam
        if cam.sleeve is None:
            continue
        base = stand(engine, Setting(label="base"), side)
        first, last = lift_span(base.curve)
        reach = last - first + cam.sleeve.travel_max_m * cam.sleeve.crank_deg_per_m
        longest, standard = _durations(engine, settings, side)
        wanted = [standard] if standard is not None else []
        if longest is not None and (standard is None or abs(longest - standard) > _SAME_DEG):
            wanted.append(longest)
        for duration in wanted:
            if last - first + _SAME_DEG < duration <= reach + 1e-6:
                found.append(_contrast(engine, base, duration, speeds))
    return tuple(found)


def _durations(
    engine: Engine, settings: Sequence[Setting], side: Side
) -> tuple[float | None, float | None]:
    """Longest duration the sleeve makes in these settings, and that of the standard setting."""
    longest, standard = None, None
    for setting in settings:
        try:
            stood = stand(engine, setting, side)
        except ValueError:
            continue
        first, last = lift_span(stood.curve)
        if stood.travel_m > 0.0:
            longest = max(longest or 0.0, last - first)
        if setting.label == engine.standard:
            standard = last - first
    return longest, standard


def _contrast(engine: Engine, base: Stand, duration_deg: float, speeds: Speeds) -> Contrast:
    sleeve = base.cam.sleeve
    assert sleeve is not None
    first, last = lift_span(base.curve)
    travel = (duration_deg - (last - first)) / sleeve.crank_deg_per_m
    by_sleeve = stand(engine, _moved(base.side, travel_m=travel), base.side)
    stretch = duration_deg / (last - first)
    centred = stand(engine, _moved(base.side, stretch=stretch), base.side)
    shift = _middle(by_sleeve) - _middle(centred)
    stretched = stand(engine, _moved(base.side, stretch=stretch, shift_deg=shift), base.side)
    ways = [
        _way(engine, sleeve_at(base.cam, travel), by_sleeve, speeds),
        _way(engine, f"lobe stretched x {stretch:.3f}", stretched, speeds),
    ]
    standard = _standard(engine, base.side, duration_deg)
    if standard is not None:
        ways.append(_way(engine, f"{engine.standard} as it stands", standard, speeds))
    return Contrast(side=base.side, duration_deg=duration_deg, ways=tuple(ways))


def _moved(
    side: Side, *, travel_m: float = 0.0, stretch: float = 1.0, shift_deg: float = 0.0
) -> Setting:
    if side == "intake":
        return Setting(
            label="contrast",
            intake_travel_m=travel_m,
            intake_stretch=stretch,
            intake_shift_deg=shift_deg,
        )
    return Setting(
        label="contrast",
        exhaust_travel_m=travel_m,
        exhaust_stretch=stretch,
        exhaust_shift_deg=shift_deg,
    )


def _standard(engine: Engine, side: Side, duration_deg: float) -> Stand | None:
    """The standard setting's cam, if it is another than the sleeve's and as long."""
    for setting in engine.settings:
        swapped = setting.intake_cam if side == "intake" else setting.exhaust_cam
        if setting.label != engine.standard or swapped is None:
            continue
        stood = stand(engine, setting, side)
        first, last = lift_span(stood.curve)
        return stood if abs(last - first - duration_deg) < _SAME_DEG else None
    return None


def _middle(stood: Stand) -> float:
    first, last = lift_span(stood.curve)
    return (first + last) / 2


def _way(engine: Engine, label: str, stood: Stand, speeds: Speeds) -> Way:
    stood = replace(stood, setting=label)
    found = peaks(stood.motion)
    first, last = lift_span(stood.curve, 1.0e-3)
    gaps = piston_lines(engine, stood)
    return Way(
        label=label,
        duration_1mm_deg=last - first,
        area_m_deg=lift_area_m_deg(stood.event),
        acceleration_m_per_s2=per_second(found.acceleration_m_per_deg2, 2, speeds.limit_rpm),
        deceleration_m_per_s2=per_second(found.deceleration_m_per_deg2, 2, speeds.limit_rpm),
        leaves_rpm=_leaves(stood),
        gap=min(gaps, key=lambda line: line.value or 0.0, default=None),
    )


def _leaves(stood: Stand) -> float | None:
    spring, train = stood.parts.spring, stood.parts.train
    if spring is None or train is None:
        return None
    speed = separation(stood.motion, spring, train, stood.cam.lash_m).speed_rpm
    return speed if isfinite(speed) else None
