"""What of the valve gear can be moved while the engine runs, and how far."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

from breathe.engine.parts import Engine, Setting, Side

Kind = Literal["dwell", "phase"]
SIDES: tuple[Side, Side] = ("intake", "exhaust")
_SAME_DEG = 1e-6


@dataclass(frozen=True, slots=True)
class Axis:
    """One thing that moves, in crank degrees whatever moves it, so that axes compare."""

    side: Side
    kind: Kind
    """Dwell is duration added by a sleeve; phase is a phaser's turn, negative earlier."""
    low_deg: float
    high_deg: float
    deg_per_m: float = 0.0
    """Added crank degrees per metre of sleeve travel; 0 for a phaser."""

    @property
    def name(self) -> str:
        return f"{self.side} {self.kind}"

    def travel_m(self, degrees: float) -> float:
        """Sleeve travel that adds ``degrees`` of dwell."""
        return degrees / self.deg_per_m


@dataclass(frozen=True, slots=True)
class Gear:
    """The axes of an engine's valve gear, and the cams it can change to in steps."""

    axes: tuple[Axis, ...]
    """Empty for plain fixed or stepped cams."""
    steps: tuple[Setting, ...]
    """Settings of the engine file with another cam or a stretched lobe, or turned beyond the
    phaser: no axis leads there."""

    def corners(self) -> list[tuple[float, ...]]:
        """Both ends of every axis with both of every other, crank degrees; none without axes."""
        ends = [(axis.low_deg, axis.high_deg) for axis in self.axes]
        return list(itertools.product(*ends)) if ends else []

    def setting(self, degrees: Sequence[float], label: str = "") -> Setting:
        """The setting at a place on the axes.

        Parameters
        ----------
        degrees : (n_axes,) sequence of float
            Crank degrees along each axis; held within the ends.
        label : str
            By default the degrees themselves.
        """
        places = [
            min(max(float(x), axis.low_deg), axis.high_deg)
            for x, axis in zip(degrees, self.axes, strict=True)
        ]
        moves: dict[str, Any] = {}
        for x, axis in zip(places, self.axes, strict=True):
            if axis.kind == "dwell":
                moves[f"{axis.side}_travel_m"] = axis.travel_m(x)
            else:
                moves[f"{axis.side}_shift_deg"] = x
        return Setting(label=label or " ".join(f"{x:+.1f}" for x in places) or "own", **moves)

    def place(self, setting: Setting) -> tuple[float, ...] | None:
        """Crank degrees along each axis where ``setting`` stands; None if no axis leads there."""
        if _is_step(setting, self.axes):
            return None
        return tuple(
            getattr(setting, f"{axis.side}_travel_m") * axis.deg_per_m
            if axis.kind == "dwell"
            else getattr(setting, f"{axis.side}_shift_deg")
            for axis in self.axes
        )


def law_known(engine: Engine, axis: Axis) -> bool:
    """Whether the axis has millimetres that may be told: a sleeve whose law the user knows."""
    sleeve = (engine.intake_cam if axis.side == "intake" else engine.exhaust_cam).sleeve
    return axis.kind == "dwell" and sleeve is not None and sleeve.law_known


def gear_of(engine: Engine) -> Gear:
    """Axes of the engine's sleeves and phasers, and its stepped cams."""
    axes = []
    for side in SIDES:
        cam = engine.intake_cam if side == "intake" else engine.exhaust_cam
        if cam.sleeve is not None:
            rate = cam.sleeve.crank_deg_per_m
            axes.append(Axis(side, "dwell", 0.0, cam.sleeve.travel_max_m * rate, rate))
        if cam.phaser is not None:
            axes.append(Axis(side, "phase", cam.phaser.earliest_deg, cam.phaser.latest_deg))
    steps = tuple(s for s in engine.settings if _is_step(s, tuple(axes)))
    return Gear(tuple(axes), steps)


def _is_step(setting: Setting, axes: tuple[Axis, ...]) -> bool:
    """Whether a setting needs another cam, another lobe, or a turn that no phaser gives."""
    if setting.intake_cam or setting.exhaust_cam:
        return True
    if setting.intake_stretch != 1.0 or setting.exhaust_stretch != 1.0:
        return True
    turns = {axis.side: (axis.low_deg, axis.high_deg) for axis in axes if axis.kind == "phase"}
    for side in SIDES:
        low, high = turns.get(side, (0.0, 0.0))
        shift = setting.intake_shift_deg if side == "intake" else setting.exhaust_shift_deg
        if not low - _SAME_DEG <= shift <= high + _SAME_DEG:
            return True
    return False


def apart_deg(one: Sequence[float], other: Sequence[float]) -> float:
    """Largest difference of two places along an axis [deg crank]."""
    return max((abs(a - b) for a, b in zip(one, other, strict=True)), default=0.0)
