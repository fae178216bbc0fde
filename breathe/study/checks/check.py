"""Will anything touch, will the springs hold, does it fit: every cam setting, still to be cut."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from breathe.engine.parts import Engine, Setting, Side
from breathe.study.checks.clearance import gap_questions, piston_lines, valve_lines
from breathe.study.checks.contact import contact_lines, seating_lines
from breathe.study.checks.contrast import Contrast, contrasts
from breathe.study.checks.line import Line, Topic, worst_of
from breathe.study.checks.missing import missing
from breathe.study.checks.room import SEATED_SOURCE, room_lines
from breathe.study.checks.sleeve import sleeve_lines
from breathe.study.checks.springs import spring_lines, surge_lines
from breathe.study.checks.stand import SIDES, Speeds, Stand, mechanics_of, stand
from breathe.study.choose import settings_of, speed_of
from breathe.study.gear import Gear, apart_deg, gear_of, law_known
from breathe.valvetrain.dwell import SEATED_AT_LEAST_DEG
from breathe.valvetrain.timing import SEAT_HEIGHT_M, overlap_deg

_SAME_DEG = 1e-3


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """The answer of a mechanical check."""

    engine: Engine
    settings: tuple[Setting, ...]
    """Those asked for, then the ends of travel and turn that were not among them."""
    ends: tuple[str, ...]
    """Labels of the ends that were added."""
    speeds: Speeds
    lines: tuple[Line, ...]
    overlap_deg: dict[str, float]
    """Crank degrees both valves are open above 0.1 mm, by label of the setting."""
    contrasts: tuple[Contrast, ...]
    questions: tuple[str, ...]
    """What the numbers make one ask; those of the engine file are not repeated."""

    def about(self, topic: Topic, side: Side | None = None) -> tuple[Line, ...]:
        """Lines of one topic, of one side if named; those NOT CHECKED left out."""
        return tuple(
            line
            for line in self.lines
            if line.topic == topic
            and (side is None or line.side == side)
            and line.verdict != "NOT CHECKED"
        )

    @property
    def not_checked(self) -> tuple[Line, ...]:
        return tuple(line for line in self.lines if line.verdict == "NOT CHECKED")

    @property
    def worst(self) -> Line | None:
        """The line of the worst verdict; None if all is sound and nothing was left unchecked."""
        return worst_of(self.lines)


def check(
    engine: Engine,
    settings: Iterable[Setting | str] | str | None = None,
    *,
    speed_limit_rpm: float | None = None,
) -> Check:
    """Check clearances, springs, contact, sleeve and room at every setting and end of travel.

    Geometry and still figures: nothing is simulated. Left out are gas force on the valves, which
    adds to the load when the exhaust valve opens, bending, and more than one valve on a follower.

    Parameters
    ----------
    engine : Engine
        From `breathe.read_engine`.
    settings : iterable of Setting or str, or str, optional
        As `breathe.compare` takes them. By default those of the file.
    speed_limit_rpm : float, optional
        Engine speed to judge the springs at; by default the file's.

    Returns
    -------
    Check

    Raises
    ------
    BreatheError
        A setting or speed that cannot be meant.

    Examples
    --------
    >>> engine = breathe.read_engine("engines/road_four_sleeve.toml")    # doctest: +SKIP
    >>> print(breathe.check(engine).worst)                               # doctest: +SKIP
    """
    chosen = settings_of(engine, settings)
    ends = ends_of_travel(engine, chosen)
    every = (*chosen, *ends)
    limit = engine.speed_limit_rpm if speed_limit_rpm is None else speed_of(speed_limit_rpm)
    over = limit * mechanics_of(engine).tolerances.over_speed
    speeds = Speeds(limit_rpm=limit, over_rpm=over)
    stood, lines = _stands(engine, every)
    for side in SIDES:
        lines += _of_side(engine, [pair[side] for pair in stood], side, speeds)
    for pair in stood:
        lines += valve_lines(engine, pair["intake"], pair["exhaust"])
    lines += missing(engine)
    return Check(
        engine=engine,
        settings=every,
        ends=tuple(setting.label for setting in ends),
        speeds=speeds,
        lines=tuple(lines),
        overlap_deg={pair["intake"].setting: _overlap(pair) for pair in stood},
        contrasts=contrasts(engine, every, speeds),
        questions=(*gap_questions(engine), *_asked(lines)),
    )


def ends_of_travel(engine: Engine, settings: Sequence[Setting]) -> tuple[Setting, ...]:
    """Both ends of each sleeve and phaser, with both of every other, that no setting stands at."""
    gear = gear_of(engine)
    stood = [place for place in map(gear.place, settings) if place is not None]
    return tuple(
        gear.setting(corner, label=_corner_label(engine, gear, corner))
        for corner in gear.corners()
        if all(apart_deg(corner, place) > _SAME_DEG for place in stood)
    )


def _corner_label(engine: Engine, gear: Gear, corner: Sequence[float]) -> str:
    """Such as '16 mm', '0/8 mm' of intake and exhaust, '16mm/-20°', '-20/+10°'."""
    places = list(zip(gear.axes, corner, strict=True))
    in_mm = [law_known(engine, axis) for axis in gear.axes]
    travels = [
        f"{axis.travel_m(x) * 1e3:.3g}" for (axis, x), mm in zip(places, in_mm, strict=True) if mm
    ]
    turns = [f"{x:+.3g}" if x else "0" for (_, x), mm in zip(places, in_mm, strict=True) if not mm]
    if not turns:
        return f"{'/'.join(travels)} mm"
    return f"{'/'.join([*(f'{travel}mm' for travel in travels), *turns])}°"


def _stands(
    engine: Engine, settings: Sequence[Setting]
) -> tuple[list[dict[Side, Stand]], list[Line]]:
    """Both cams in every setting; a line for a setting in which they cannot stand."""
    stood, lines = [], []
    for setting in settings:
        try:
            stood.append({side: stand(engine, setting, side) for side in SIDES})
        except ValueError as error:
            lines.append(
                Line(
                    topic="room",
                    item="cam as set",
                    setting=setting.label,
                    limit=SEATED_AT_LEAST_DEG,
                    unit="deg crank",
                    rule=SEATED_SOURCE,
                    verdict="does not fit",
                    note=str(error),
                )
            )
    return stood, lines


def _of_side(engine: Engine, stood: Sequence[Stand], side: Side, speeds: Speeds) -> list[Line]:
    lines: list[Line] = []
    for one in stood:
        lines += piston_lines(engine, one)
        lines += spring_lines(one, speeds)
        lines += surge_lines(one, speeds)
        lines += contact_lines(one, speeds)
        lines += seating_lines(one, speeds)
    cam = engine.intake_cam if side == "intake" else engine.exhaust_cam
    if cam.sleeve is None:
        return lines
    own = stand(engine, Setting(label="own"), side)
    return [*lines, *sleeve_lines(own, speeds), *room_lines(own, stood)]


def _overlap(pair: dict[Side, Stand]) -> float:
    intake, exhaust = pair["intake"].event, pair["exhaust"].event
    low = min(float(intake.lift_m.max()), float(exhaust.lift_m.max()))
    return overlap_deg(intake, exhaust, SEAT_HEIGHT_M if low > SEAT_HEIGHT_M else 0.0)


def _asked(lines: Iterable[Line]) -> list[str]:
    """What lines ask, each question once."""
    notes = (line.note for line in lines if line.verdict == "question")
    return list(dict.fromkeys(f"{note[0].upper()}{note[1:]}" for note in notes if note))
