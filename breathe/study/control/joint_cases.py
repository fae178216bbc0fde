"""The cases that maps of several actuators rest on: full load, and throttled sweeps at places."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

from breathe.engine.parts import Setting
from breathe.errors import BreatheError
from breathe.study.choose import setting_named
from breathe.study.control.cases import Cases, ask_if_above
from breathe.study.control.cells import LIGHTEST_BMEP_PA, torque_of
from breathe.study.control.joint_asked import CLOSER, JointQuestion
from breathe.study.control.joint_cells import Cells, JointSpeed, joint_speed
from breathe.study.control.part_load import Sweep, swept, usable_row, with_fuel
from breathe.study.gear import apart_deg
from breathe.study.search.survey import Place, Survey, design, point_at, rounded

_FAR_DEG = 6.0
"""A cell's best place farther than this from every sweep gets one of its own [deg crank]."""
_ENOUGH = 2
"""Sweeps of a speed below which nothing is known of it."""


class Seen:
    """Cases of all speeds: full load as `breathe best` looks for it, and throttled sweeps."""

    def __init__(self, run: Cases, asked: JointQuestion) -> None:
        self._run, self._asked = run, asked
        self._survey = Survey(asked.gear, asked.common.speeds_rpm, run)
        self._swept: dict[float, dict[Place, Sweep]] = {}
        self._standard: dict[float, tuple[Sweep, float]] = {}

    def look(self) -> None:
        """The first places of every speed and the standard."""
        asked, engine = self._asked, self._run.engine
        speeds, first = asked.common.speeds_rpm, design(asked.gear.axes)
        standard = setting_named(engine, engine.standard)
        # Labels tell sweeps apart; the standard may well be called like one of the others.
        standard = replace(standard, label=f"{standard.label} standard")
        rows = self._survey.run(
            [(speed, place) for speed in speeds for place in first],
            [point_at(standard, speed) for speed in speeds],
        )
        self._survey.tops()
        usable = {speed: self._full(speed) for speed in speeds}
        ask_if_above(
            engine,
            asked.common,
            {speed: [dict(one) for one in found.values()] for speed, found in usable.items()},
        )
        settings = [asked.setting(place) for place in first]
        found = self._sweep([*settings, standard], speeds)
        for speed, row in zip(speeds, rows, strict=True):
            torque = row["torque_Nm"] if usable_row(row) else math.nan
            self._standard[speed] = found[standard.label, speed], torque
            sweeps = {p: found[s.label, speed] for p, s in zip(first, settings, strict=True)}
            self._swept[speed] = _of_use(sweeps)
            if len(self._swept[speed]) < _ENOUGH or not usable[speed]:
                raise BreatheError(
                    f"{speed:.0f} rpm: too few cases settle and make torque; leave it out"
                )

    def look_closer(self, asked: JointQuestion, cells: Cells) -> None:
        """Sweeps where cells want to stand, far from those that were run."""
        for j, speed in enumerate(asked.common.speeds_rpm):
            wanted: list[Place] = []
            for line in cells:
                place = rounded(line[j].best)
                near = [apart_deg(place, other) for other in (*self._swept[speed], *wanted)]
                if line[j].kind == "part load" and min(near) > _FAR_DEG:
                    wanted.append(place)
            wanted = wanted[:CLOSER]
            settings = [asked.setting(place) for place in wanted]
            found = self._sweep(settings, [speed])
            more = {p: found[s.label, speed] for p, s in zip(wanted, settings, strict=True)}
            self._swept[speed] |= _of_use(more)

    def speeds(self, asked: JointQuestion) -> tuple[JointSpeed, ...]:
        return tuple(
            joint_speed(asked, n, self._full(n), self._swept[n], self._standard[n])
            for n in asked.common.speeds_rpm
        )

    def _full(self, speed_rpm: float) -> dict[Place, Mapping[str, float]]:
        """Figures at full load of all places run there; known already, so no case is run."""
        places = list(self._survey.torque_Nm[speed_rpm])
        rows = self._run([point_at(self._asked.gear.setting(p), speed_rpm) for p in places])
        return {p: with_fuel(row) for p, row in zip(places, rows, strict=True) if usable_row(row)}

    def _sweep(
        self, settings: Sequence[Setting], speeds_rpm: Sequence[float]
    ) -> Mapping[tuple[str, float], Sweep]:
        question = self._asked.common
        lightest = LIGHTEST_BMEP_PA
        if question.load_axis == "bmep":
            lightest = max(lightest, min(question.loads))
        return swept(
            self._run.engine,
            self._run,
            settings,
            speeds_rpm,
            torque_of(self._run.engine, lightest),
            lambda_=question.part_load_lambda,
        )


def _of_use(sweeps: Mapping[Place, Sweep]) -> dict[Place, Sweep]:
    return {place: sweep for place, sweep in sweeps.items() if len(sweep.log_opening)}
