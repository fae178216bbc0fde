"""Whether the springs hold the valves on their lobes: loads, coil bind, reserve, surge."""

from __future__ import annotations

from math import isfinite

from breathe.engine.mechanics import Spring, Train
from breathe.study.checks.line import Line, Verdict, gap_verdict
from breathe.study.checks.stand import AT_NOSE, Speeds, Stand, on_lobe
from breathe.valvetrain.loads import (
    inertia_force_N,
    moving_mass_kg,
    natural_frequency_Hz,
    residual_vibration_m,
    separation,
)
from breathe.valvetrain.motion import acceleration_steps, per_second
from breathe.valvetrain.springs import (
    SURGE_NUMBER_AMPLE,
    SURGE_NUMBER_LEAST,
    coil_bind_margin_m,
    spring_force_N,
    surge_number,
    surge_speeds,
)

COIL_BIND_RULE_M = 1.0e-3
COIL_BIND_SOURCE = (
    "1.0 mm from coil bind: common practice of engine builders, no source; counted with "
    "the lash used up"
)
RESERVE_RULE = 0.20
RESERVE_SOURCE = (
    "the spring must give more than is needed at every angle; 20 % more leaves something for surge "
    "and vibration (from memory)"
)
SURGE_SOURCE = (
    f"{SURGE_NUMBER_LEAST:g} spring cycles or more in a cam turn at the limit is common "
    f"(from memory), {SURGE_NUMBER_AMPLE:g} ample (spring makers' design pages); counted as in H. "
    "A. Rothbart (ed.), Cam Design Handbook, 2004, p. 539"
)


def spring_lines(stood: Stand, speeds: Speeds) -> list[Line]:
    """Loads, coil bind, and force needed against force there is, at every angle of the opening."""
    spring, train = stood.parts.spring, stood.parts.train
    if spring is None:
        return []
    lines = [_open_load(stood, spring), *coil_bind_lines(stood)]
    if train is None:
        return lines
    return [
        *lines,
        *_needs(stood, spring, train, speeds),
        *_leaves(stood, spring, train),
        *_steps(stood, speeds),
        *_swing(stood, spring, train, speeds),
    ]


def _open_load(stood: Stand, spring: Spring) -> Line:
    return Line(
        topic="spring",
        item="load, lash used up",
        side=stood.side,
        setting=stood.setting,
        value=spring_force_N(spring, stood.full_lift_m),
        unit="N",
        where=AT_NOSE,
    )


def coil_bind_lines(stood: Stand) -> list[Line]:
    """What is left of the spring's travel at full lift, lash used up."""
    spring = stood.parts.spring
    margin = coil_bind_margin_m(spring, stood.full_lift_m) if spring is not None else None
    if margin is None:
        return []
    return [
        Line(
            topic="spring",
            item="travel to coil bind",
            side=stood.side,
            setting=stood.setting,
            value=margin,
            unit="m",
            where=AT_NOSE,
            limit=COIL_BIND_RULE_M,
            rule=COIL_BIND_SOURCE,
            verdict=gap_verdict(margin, COIL_BIND_RULE_M),
        )
    ]


def _needs(stood: Stand, spring: Spring, train: Train, speeds: Speeds) -> list[Line]:
    """Force needed and force there is, where the one comes nearest the other."""
    tight = separation(stood.motion, spring, train, stood.cam.lash_m)
    if not isfinite(tight.speed_rpm):
        return []
    at = int(abs(stood.motion.angle_deg - tight.at_deg).argmin())
    same_angle = stood.motion.angle_deg == stood.motion.angle_deg[at]
    there = spring_force_N(spring, float(stood.motion.lift_m[at]) - stood.cam.lash_m)
    mass = moving_mass_kg(train, spring)
    lines = []
    for case, speed in speeds.cases:
        needed = -float(inertia_force_N(stood.motion, mass, speed)[same_angle].min())
        reserve = there / needed - 1.0
        lines.append(
            Line(
                topic="spring",
                item=f"needed at {speed:.0f} rpm",
                side=stood.side,
                setting=stood.setting,
                case=case,
                speed_rpm=speed,
                value=needed,
                unit="N",
                where=on_lobe(stood, tight.at_deg),
                limit=there,
                limit_is="most",
                rule=RESERVE_SOURCE,
                verdict=_reserve_verdict(reserve, case),
                note=f"{reserve * 100:+.0f} %",
            )
        )
    return lines


def _reserve_verdict(reserve: float, case: str) -> Verdict:
    if reserve <= 0.0:
        return "does not hold"
    # A missed shift may take what was kept for surge and vibration.
    return "holds" if reserve >= RESERVE_RULE or case == "over-speed" else "little reserve"


def _leaves(stood: Stand, spring: Spring, train: Train) -> list[Line]:
    tight = separation(stood.motion, spring, train, stood.cam.lash_m)
    if not isfinite(tight.speed_rpm):
        return []
    return [
        Line(
            topic="spring",
            item="leaves the lobe from",
            side=stood.side,
            setting=stood.setting,
            value=tight.speed_rpm,
            unit="rpm",
            where=on_lobe(stood, tight.at_deg),
        )
    ]


def _steps(stood: Stand, speeds: Speeds) -> list[Line]:
    """The largest jump of acceleration where dwell meets flank, if there is dwell."""
    steps = [
        step
        for step in acceleration_steps(stood.motion)
        if on_lobe(stood, step.angle_deg) == AT_NOSE
    ]
    if not steps:
        return []
    jump = max(abs(step.after_m_per_deg2 - step.before_m_per_deg2) for step in steps)
    return [
        Line(
            topic="spring",
            item="acceleration jumps by",
            side=stood.side,
            setting=stood.setting,
            speed_rpm=speeds.limit_rpm,
            value=per_second(jump, 2, speeds.limit_rpm),
            unit="m/s2",
            where="dwell meets flank",
            note=f"at {speeds.limit_rpm:.0f} rpm",
        )
    ]


def _swing(stood: Stand, spring: Spring, train: Train, speeds: Speeds) -> list[Line]:
    """What a springy train swings by on the dwell and after the lobe, undamped."""
    natural = natural_frequency_Hz(train, spring)
    if natural is None:
        return []
    at_top, at_end = residual_vibration_m(stood.motion, natural, speeds.limit_rpm)
    places = ((AT_NOSE, at_top), ("after the lobe", at_end))
    return [
        Line(
            topic="spring",
            item=f"swings at {speeds.limit_rpm:.0f} rpm by",
            side=stood.side,
            setting=stood.setting,
            speed_rpm=speeds.limit_rpm,
            value=amplitude,
            unit="m",
            where=where,
            note="undamped",
        )
        for where, amplitude in places
    ]


def surge_lines(stood: Stand, speeds: Speeds) -> list[Line]:
    """Spring cycles in a cam turn at the limit, and the lift harmonics that drive the coils."""
    spring = stood.parts.spring
    if spring is None or spring.surge_frequency_Hz is None:
        return []
    surge = spring.surge_frequency_Hz
    cycles = surge_number(surge, speeds.limit_rpm)
    first = Line(
        topic="surge",
        item="spring cycles in a cam turn",
        side=stood.side,
        setting=stood.setting,
        speed_rpm=speeds.limit_rpm,
        value=cycles,
        where=f"{speeds.limit_rpm:.0f} rpm",
        limit=SURGE_NUMBER_LEAST,
        rule=SURGE_SOURCE,
        verdict="usual" if cycles >= SURGE_NUMBER_LEAST else "below usual",
    )
    slowest = 120.0 * surge / SURGE_NUMBER_AMPLE
    driven = surge_speeds(stood.event, surge, slowest, max(speeds.over_rpm, slowest))
    return [
        first,
        *(
            Line(
                topic="surge",
                item=f"harmonic {one.harmonic}",
                side=stood.side,
                setting=stood.setting,
                speed_rpm=one.speed_rpm,
                value=one.amplitude_m,
                unit="m",
                where=f"{one.speed_rpm:.0f} rpm",
            )
            for one in driven
        ),
    ]
