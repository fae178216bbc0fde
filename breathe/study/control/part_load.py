"""Fuel at equal torque: each cam setting with the throttle swept, read where the torque is had.

A setting that pumps less also draws another charge, so settings are only ever set side by side at
the same torque. Each sweep of throttle openings is interpolated along the opening; where a torque
is had on it is a root of that curve.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq

from breathe.engine.parts import Engine, Floats, Operating, Setting
from breathe.gas.nozzle import flow_function
from breathe.study.compare import Row
from breathe.study.evaluate import Point

Evaluate = Callable[[Sequence[Point]], list[Row]]

PART_LOAD_LAMBDA = 1.0
"""Air ratio below full load: what a three-way catalyst asks (common practice, no source)."""
FIRST_MANIFOLD = (0.7, 0.45)
"""Manifold over outside pressure aimed at by the first openings of a sweep."""
ROUNDS = 4
"""Rounds of further openings, each of which fills the widest gap in torque of every sweep."""
_AIR_GAMMA, _AIR_R = 1.40, 287.05
_SMALLEST_OPENING = 1e-4
_AIM_LOW, _LOW_ENOUGH = 0.8, 1.0
"""Share of the least torque asked for that is aimed at, and at which a sweep is low enough."""
_FILLING = 0.85
"""Volumetric efficiency on manifold density, to aim the first openings with; decides no figure."""

FIGURES = (
    "torque_Nm",
    "fuel_kg_per_s",
    "log_opening",
    "manifold_pressure_Pa",
    "pmep_Pa",
    "fmep_Pa",
    "imep_net_Pa",
    "residual_fraction",
    "knock_index",
    "ca50_deg",
    "burn_10_90_deg",
    "effective_compression_ratio",
    "pushed_back_fraction",
)
"""What is read at a torque. ``log_opening`` is the natural logarithm of the opening."""


@dataclass(frozen=True, slots=True)
class Sweep:
    """One setting at one speed and air ratio over the throttle's openings."""

    setting: Setting
    speed_rpm: float
    log_opening: Floats
    """(n,) rising, up to where torque is most; figures of `FIGURES` at these."""
    figures: Mapping[str, Floats]
    left_out: int = 0
    """Cases without figures, without torque or that did not settle."""

    @property
    def most_Nm(self) -> float:
        """Torque with the throttle as far open as helps; nan for an empty sweep."""
        torque = self.figures["torque_Nm"]
        return float(torque[-1]) if len(torque) else math.nan

    @property
    def least_Nm(self) -> float:
        torque = self.figures["torque_Nm"]
        return float(torque[0]) if len(torque) else math.nan

    def fully_open(self) -> dict[str, float]:
        """Figures with the throttle as far open as helps; nan for an empty sweep."""
        return {
            name: float(values[-1]) if len(values) else math.nan
            for name, values in self.figures.items()
        }

    def at_torque(self, torque_Nm: float) -> dict[str, float] | None:
        """Figures where the torque is had; None where no opening of the sweep reaches down or up
        to it."""
        if len(self.log_opening) < 2 or not self.least_Nm <= torque_Nm <= self.most_Nm:
            return None
        curve = PchipInterpolator(self.log_opening, self.figures["torque_Nm"])
        low, high = float(self.log_opening[0]), float(self.log_opening[-1])
        if torque_Nm <= curve(low) or torque_Nm >= curve(high):  # the ends themselves
            at = low if torque_Nm <= curve(low) else high
        else:
            at = brentq(lambda u: float(curve(u)) - torque_Nm, low, high, xtol=1e-10)
        table = np.stack([self.figures[name] for name in FIGURES], axis=1)
        read = PchipInterpolator(self.log_opening, table)(at)
        return dict(zip(FIGURES, map(float, read), strict=True)) | {"torque_Nm": float(torque_Nm)}

    def slope_at(self, log_opening: float) -> float:
        """Change of torque [Nm] with the logarithm of the opening; 0 outside the sweep."""
        if len(self.log_opening) < 2:
            return 0.0
        curve = PchipInterpolator(self.log_opening, self.figures["torque_Nm"], extrapolate=False)
        return float(np.nan_to_num(curve(log_opening, 1)))


def sweep_of(setting: Setting, speed_rpm: float, rows: Iterable[Row]) -> Sweep:
    """The usable part of swept cases, from the smallest opening to where torque is most."""
    found = list(rows)
    usable = sorted((row for row in found if usable_row(row)), key=lambda row: row["throttle"])
    figures = [with_fuel(row) for row in usable]
    if figures:
        top = int(np.argmax([row["torque_Nm"] for row in figures]))
        # Below its top a tuned engine may lose torque by closing less; only the rising part counts.
        rising = [figures[top]]
        for row in reversed(figures[:top]):
            if row["torque_Nm"] < rising[-1]["torque_Nm"]:
                rising.append(row)
        figures = rising[::-1]
    columns = {name: np.array([row[name] for row in figures], dtype=float) for name in FIGURES}
    return Sweep(
        setting, speed_rpm, columns["log_opening"], columns, left_out=len(found) - len(usable)
    )


def usable_row(row: Row) -> bool:
    """Whether a case came to repeat and makes torque."""
    return bool(row["settled"]) and math.isfinite(row["torque_Nm"]) and row["torque_Nm"] > 0


def with_fuel(row: Row) -> dict[str, float]:
    """The figures of `FIGURES` of one case."""
    own = {
        "fuel_kg_per_s": row["bsfc_kg_per_J"] * row["power_W"],
        "log_opening": math.log(row["throttle"]),
    }
    return own | {name: row[name] for name in FIGURES if name not in own}


def swept(
    engine: Engine,
    evaluate: Evaluate,
    settings: Sequence[Setting],
    speeds_rpm: Sequence[float],
    lowest_Nm: float,
    *,
    lambda_: float = PART_LOAD_LAMBDA,
    rounds: int = ROUNDS,
) -> dict[tuple[str, float], Sweep]:
    """Sweeps of all settings at all speeds, by label and speed.

    Each begins with the throttle open and two openings aimed at common manifold pressures; then
    rounds of one more opening each reach down to ``lowest_Nm`` and halve the widest gap in torque.

    Parameters
    ----------
    engine : Engine
    evaluate : callable
        Rows of points, such as an `evaluate.Evaluator`.
    settings, speeds_rpm : sequences
    lowest_Nm : float
        Least torque that will be asked for.
    lambda_ : float
        Air ratio of all cases.
    rounds : int
        Further openings for each sweep.
    """
    asked: dict[tuple[str, float], list[float]] = {}
    of_label = {setting.label: setting for setting in settings}
    for speed in speeds_rpm:
        first = [1.0, *(opening_for(engine, speed, ratio) for ratio in FIRST_MANIFOLD)]
        for setting in settings:
            asked[setting.label, speed] = list(dict.fromkeys(first))
    rows: dict[tuple[str, float], list[Row]] = {}
    for turn in range(rounds + 1):
        points = [
            (key, Point(of_label[key[0]], Operating(speed_rpm=key[1], throttle=x, lambda_=lambda_)))
            for key, openings in asked.items()
            for x in openings
        ]
        found = evaluate([point for _, point in points])
        for (key, _), row in zip(points, found, strict=True):
            rows.setdefault(key, []).append(row)
        if turn < rounds:
            asked = {key: next_openings(some, lowest_Nm) for key, some in rows.items()}
    return {key: sweep_of(of_label[key[0]], key[1], some) for key, some in rows.items()}


def next_openings(rows: Sequence[Row], lowest_Nm: float) -> list[float]:
    """Where one more case tells most of a sweep: below it, or in its widest gap in torque.

    Parameters
    ----------
    rows : sequence of Row
        Cases of one setting and speed, in any order.
    lowest_Nm : float
        Least torque that will be asked for.
    """
    known = sorted((row for row in rows if usable_row(row)), key=_opening)
    if len(known) < 2:
        return []
    smallest = known[0]
    if smallest["torque_Nm"] > lowest_Nm * _LOW_ENOUGH:
        failed = [_opening(row) for row in rows if _opening(row) < _opening(smallest)]
        if failed:  # halve the way to what did not settle or made no torque
            return [math.sqrt(max(failed) * _opening(smallest))]
        return [max(_opening_down_to(smallest, lowest_Nm), _SMALLEST_OPENING)]
    gaps = [
        (high["torque_Nm"] - max(low["torque_Nm"], 0.8 * lowest_Nm), _opening(low), _opening(high))
        for low, high in pairwise(known)
        if high["torque_Nm"] > lowest_Nm
    ]
    if not gaps:
        return []
    _, low, high = max(gaps)
    return [math.sqrt(low * high)]


def _opening(row: Row) -> float:
    return float(row["throttle"])


def _opening_down_to(row: Row, lowest_Nm: float) -> float:
    """A smaller opening that gives about a torque: through a throttle at sonic speed air, fuel and
    so the work of compression and expansion go with the area."""
    per_mep = row["torque_Nm"] / row["bmep_Pa"]
    lost = (row["fmep_Pa"] - row["pmep_Pa"]) * per_mep
    return _opening(row) * (_AIM_LOW * lowest_Nm + lost) / (row["torque_Nm"] + lost)


def opening_for(engine: Engine, speed_rpm: float, ratio: float) -> float:
    """Opening, a share of the throttle's area, that leaves about a given manifold pressure.

    Air flows steadily through the opening and fills the displacement once a cycle at manifold
    density; it only aims a first guess.

    Parameters
    ----------
    engine : Engine
    speed_rpm : float
    ratio : float
        Manifold over outside pressure [-].
    """
    area = throttle_area_m2(engine)
    drawn = _FILLING * ratio * engine.displacement_m3 * speed_rpm / 120.0  # m3/s, outside density
    through = float(flow_function(ratio, _AIR_GAMMA)) * math.sqrt(_AIR_R * engine.air.temperature_K)
    return float(np.clip(drawn / (through * area), _SMALLEST_OPENING, 1.0))


def throttle_area_m2(engine: Engine) -> float:
    """Effective area of all throttled pipe ends, fully open; 0 for an engine without."""
    area = 0.0
    for pipe in engine.pipes:
        for end, diameter, inward in (
            (pipe.start, pipe.diameter_m[0], True),
            (pipe.end, pipe.diameter_m[-1], False),
        ):
            if end.throttled:
                share = end.in_coefficient if inward else end.out_coefficient
                area += share * math.pi / 4 * diameter**2
    return area


@dataclass(frozen=True, slots=True)
class EqualTorque:
    """One setting beside the standard at equal torque; SI."""

    setting: Setting
    reached: bool
    """Whether the setting gives the torque at all."""
    figures: Mapping[str, float]
    fuel_saved: float
    """Share of the standard's fuel saved at this torque [-]; nan if it is not known."""
    fuel_saved_band: tuple[float, float]
    """The same with friction 20 % less and more, under further assumptions, and the numerical
    error [-]."""


def at_equal_torque(
    sweeps: Sequence[Sweep],
    standard: Sweep,
    torque_Nm: float,
    numerical_error: float,
    otherwise: Sequence[Sequence[float]] = (),
) -> list[EqualTorque]:
    """Every setting where it gives the torque, against the standard with its throttle.

    Parameters
    ----------
    sweeps : sequence of Sweep
        All of one speed.
    standard : Sweep
    torque_Nm : float
    numerical_error : float
        Share by which two settings may differ without meaning anything.
    otherwise : sequence of sequences of float
        For each sweep, shares saved under further assumptions, for its band.
    """
    found = []
    for k, sweep in enumerate(sweeps):
        figures = sweep.at_torque(torque_Nm)
        saved = fuel_saved(sweep, standard, torque_Nm)
        sides = [saved, *(_with_friction(sweep, standard, torque_Nm, k) for k in FRICTION_BAND)]
        sides += otherwise[k] if otherwise else ()
        known = [x for x in sides if math.isfinite(x)]
        band = (min(known) - numerical_error, max(known) + numerical_error) if known else None
        found.append(
            EqualTorque(
                setting=sweep.setting,
                reached=figures is not None,
                figures=figures or sweep.fully_open(),
                fuel_saved=saved,
                fuel_saved_band=band or (math.nan, math.nan),
            )
        )
    return found


FRICTION_BAND = (-0.2, 0.2)
"""Share by which friction estimates of this kind differ (published relations side by side:
Barnes-Moss 1975, Chen and Flynn 1965, Sandoval and Heywood 2003)."""


def fuel_saved(sweep: Sweep, standard: Sweep, torque_Nm: float) -> float:
    """Share of the standard's fuel that a setting saves at equal torque [-]; nan if unknown."""
    own, other = sweep.at_torque(torque_Nm), standard.at_torque(torque_Nm)
    if own is None or other is None:
        return math.nan
    return 1.0 - own["fuel_kg_per_s"] / other["fuel_kg_per_s"]


def _with_friction(sweep: Sweep, standard: Sweep, torque_Nm: float, change: float) -> float:
    """`fuel_saved` if friction were another: the same brake torque is then had at another
    indicated one, which these sweeps hold already."""
    base = standard.at_torque(torque_Nm)
    if base is None or base["imep_net_Pa"] <= base["fmep_Pa"]:
        return math.nan
    per_mep = torque_Nm / (base["imep_net_Pa"] - base["fmep_Pa"])
    return fuel_saved(sweep, standard, torque_Nm + change * base["fmep_Pa"] * per_mep)
