"""One side's cam as a setting holds it: what the mechanical check looks at."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import PPoly

from breathe.engine.mechanics import Mechanics, SideMechanics
from breathe.engine.parts import Cam, Engine, Floats, LiftEvent, Setting, Side
from breathe.valvetrain.clearance import ValveMotion
from breathe.valvetrain.dwell import event, lift_curve
from breathe.valvetrain.motion import MEASURED_AVERAGE_DEG, Motion, full_lift_span, motion_of
from breathe.valvetrain.timing import SEAT_HEIGHT_M

SIDES: tuple[Side, Side] = ("intake", "exhaust")
_ON_TOP_DEG = 0.5
AT_NOSE = "at the nose"
"""Full lift, dwell included."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stand:
    """A cam as it stands, its motion, and the parts it moves."""

    setting: str
    side: Side
    cam: Cam
    travel_m: float
    curve: PPoly
    """Lift at zero lash [m] over crank degrees."""
    motion: Motion
    """Of a measured lobe averaged over `MEASURED_AVERAGE_DEG`."""
    event: LiftEvent
    """Lash taken off."""
    parts: SideMechanics

    @property
    def valve(self) -> ValveMotion:
        return ValveMotion(curve=self.curve, lash_m=self.cam.lash_m)

    @property
    def full_lift_m(self) -> float:
        """At the valve, lash used up."""
        return float(self.cam.lobe.lift_m.max())

    @property
    def from_card(self) -> bool:
        """Whether flanks and nose are made up between a card's few figures."""
        return self.cam.lobe.made_from.startswith("cam card")


@dataclass(frozen=True, slots=True, kw_only=True)
class Speeds:
    """Engine speeds the moving parts are judged at."""

    limit_rpm: float
    over_rpm: float
    """Reached by a missed shift."""

    @property
    def cases(self) -> tuple[tuple[str, float], ...]:
        return (("limit", self.limit_rpm), ("over-speed", self.over_rpm))


def mechanics_of(engine: Engine) -> Mechanics:
    """What the file says of its mechanics; nothing, if it says nothing."""
    return engine.mechanics or Mechanics()


def stand(engine: Engine, setting: Setting, side: Side) -> Stand:
    """The cam of one side in a setting.

    Raises
    ------
    ValueError
        If the cam cannot stand so: travel beyond the sleeve's, or a valve that hardly seats.
    """
    intake = side == "intake"
    swapped = setting.intake_cam if intake else setting.exhaust_cam
    cam = swapped or (engine.intake_cam if intake else engine.exhaust_cam)
    travel = setting.intake_travel_m if intake else setting.exhaust_travel_m
    shift = setting.intake_shift_deg if intake else setting.exhaust_shift_deg
    stretch = setting.intake_stretch if intake else setting.exhaust_stretch
    curve = lift_curve(cam, travel_m=travel, shift_deg=shift, stretch=stretch, side=side)
    measured = cam.lobe.made_from.startswith("measured")
    return Stand(
        setting=setting.label,
        side=side,
        cam=cam,
        travel_m=travel,
        curve=curve,
        motion=motion_of(curve, average_deg=MEASURED_AVERAGE_DEG if measured else 0.0),
        event=event(cam, travel_m=travel, shift_deg=shift, stretch=stretch, side=side),
        parts=mechanics_of(engine).of(side),
    )


def on_lobe(stood: Stand, angle_deg: float) -> str:
    """A place on the lobe that is the same at every travel, such as '38° before nose'."""
    first, last = full_lift_span(stood.curve)
    if first - _ON_TOP_DEG <= angle_deg <= last + _ON_TOP_DEG:
        return AT_NOSE
    if angle_deg < first:
        return f"{first - angle_deg:.0f}° before nose"
    return f"{angle_deg - last:.0f}° after nose"


def lift_span(curve: PPoly, height_m: float = SEAT_HEIGHT_M) -> tuple[float, float]:
    """First and last crank angle above a lift, at zero lash; all of it for a lower lobe."""
    if float(np.nanmax(curve(curve.x))) <= height_m:
        return float(curve.x[0]), float(curve.x[-1])
    crossings: Floats = curve.solve(height_m, extrapolate=False)
    crossings = crossings[np.isfinite(crossings)]
    return float(crossings.min()), float(crossings.max())
