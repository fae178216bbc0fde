"""What a planner asks of a control map, and how its settings are shown."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from breathe.engine.card_lobe import lobe_width
from breathe.engine.parts import Engine, Floats, Setting
from breathe.errors import BreatheError
from breathe.study.control.limits import Limits, steepest_deg_per_rpm
from breathe.study.control.map_axes import LoadAxis, LoadScale
from breathe.study.control.part_load import PART_LOAD_LAMBDA
from breathe.study.control.smooth_map import Anchor
from breathe.study.crossings import NUMERICAL_ERROR
from breathe.study.gear import Axis, Gear, law_known
from breathe.study.search.best import rest_duration_deg
from breathe.valvetrain.timing import SEAT_HEIGHT_M

NODES_DEG = 12.0
"""Settings are run at most this far apart along the axis."""
SWEEP_CASES = 7
"""Cases of one sweep of the throttle."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """How a place along the axis is written: shown = zero + degrees * per_deg."""

    name: str
    """Such as 'intake duration'."""
    unit: str
    """'deg crank' or 'mm'."""
    zero: float
    per_deg: float = 1.0

    def of(self, degrees: float) -> float:
        """What is shown for degrees along the axis."""
        return self.zero + degrees * self.per_deg

    def degrees(self, shown: float) -> float:
        """Degrees along the axis of what is shown."""
        return (shown - self.zero) / self.per_deg


def shown_as(engine: Engine, axis: Axis, *, travel: bool = False) -> Shown:
    """Durations for a sleeve, or its travel; for a phaser crank degrees from its own place.

    Raises
    ------
    BreatheError
        A sleeve whose travel has no rate.
    """
    if axis.kind == "dwell" and not law_known(engine, axis):
        raise BreatheError(
            f"{engine.source_file or engine.name}: [{axis.side}.sleeve] has no rate; travel, "
            'speed and play of the actuator count in mm, so give rate = "5.0 deg crank/mm"'
        )
    if axis.kind == "phase":
        return Shown(name=f"{axis.side} phase", unit="deg crank", zero=0.0)
    if travel:
        return Shown(
            name=f"{axis.side} sleeve travel", unit="mm", zero=0.0, per_deg=1e3 / axis.deg_per_m
        )
    return Shown(
        name=f"{axis.side} duration", unit="deg crank", zero=shortest_duration_deg(engine, axis)
    )


def shortest_duration_deg(engine: Engine, axis: Axis) -> float:
    """Duration at no travel, as the engine file counts it; else at the seat height, zero lash."""
    named = rest_duration_deg(engine, axis)
    if named is not None:
        return named
    cam = engine.intake_cam if axis.side == "intake" else engine.exhaust_cam
    return round(lobe_width(cam.lobe, SEAT_HEIGHT_M), 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """What the planner asks for. Degrees count along the axis from its zero."""

    axis: int
    """Which axis of the gear moves; the others stand, see ``stand_deg``."""
    speeds_rpm: tuple[float, ...]
    """(n,) rising."""
    scale: LoadScale
    loads: tuple[float, ...]
    """(m,) rising: BMEP [Pa], manifold pressure [Pa] or opening [-]."""
    limits: Limits
    shown: Shown
    durations: Shown
    """The same axis in degrees, whatever the cells hold."""
    step: float
    """Cells are whole steps of this, in what is shown."""
    fallback_deg: float | None = None
    give_up: float = NUMERICAL_ERROR
    """Share of torque or fuel that smoothing may give up in a cell [-]."""
    slew_deg_per_s: float | None = None
    rev_rate_rpm_per_s: float = 3000.0
    """How fast the engine revs up, for the steps over speed that the actuator follows."""
    pedal_s: float | None = None
    """Time in which load rises from the lowest row to the highest, for the steps over load that
    the actuator follows; None: they are not held."""
    hysteresis_deg: float = 0.0
    anchors: tuple[Anchor, ...] = ()
    part_load_lambda: float = PART_LOAD_LAMBDA
    stand_deg: tuple[float, ...] = ()
    """Where the axes that do not move stand, (n_axes,); empty: all at zero."""

    @property
    def load_axis(self) -> LoadAxis:
        return self.scale.axis

    @property
    def step_deg(self) -> float:
        return self.step / self.shown.per_deg

    @property
    def steepest(self) -> float | None:
        """Largest step the map may take over speed [deg/rpm]; None without a slew limit."""
        if self.slew_deg_per_s is None:
            return None
        return steepest_deg_per_rpm(self.slew_deg_per_s, self.rev_rate_rpm_per_s)

    @property
    def steepest_over_load(self) -> float | None:
        """Largest step the map may take over load [deg for one of the axis]; None if not held."""
        if self.slew_deg_per_s is None or self.pedal_s is None or len(self.loads) < 2:
            return None
        return self.slew_deg_per_s * self.pedal_s / (self.loads[-1] - self.loads[0])


def planned_runs(question: Question) -> int:
    """About how many cases a map needs."""
    settings = len(node_places(question.limits)) + 1
    sweeps = len(question.speeds_rpm) * settings * (SWEEP_CASES + 1)
    return sweeps + len(question.speeds_rpm) * len(question.loads)


def node_places(limits: Limits) -> Floats:
    """Places along the axis at which settings are run."""
    low, high = limits.safe_deg
    return np.linspace(low, high, max(3, math.ceil((high - low) / NODES_DEG - 1e-9) + 1))


def setting_at(gear: Gear, question: Question, degrees: float) -> Setting:
    """The setting at a place along the moving axis, its label what is shown."""
    place = list(question.stand_deg or [0.0] * len(gear.axes))
    place[question.axis] = degrees
    return gear.setting(place, label=setting_label(question, degrees))


def setting_label(question: Question, degrees: float) -> str:
    """What is shown, with its unit, short enough for a label."""
    return place_label(question.shown, degrees)


def place_label(shown: Shown, degrees: float) -> str:
    """A place along an axis with its unit, short enough for a label."""
    unit = "°" if shown.unit == "deg crank" else " mm"
    return f"{shown.of(degrees):.5g}{unit}"
