"""The whole engine on the supplied engine files, against what is published about breathing."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from breathe.cycle.layout import Resolution
from breathe.cycle.result import Cycle, simulate
from breathe.engine.end_correction import corrected
from breathe.engine.findings import Findings
from breathe.engine.parts import Cam, Engine, Operating, Setting, Valve
from breathe.engine.read import read_engine
from breathe.study.compare import compare
from breathe.study.crossings import NUMERICAL_ERROR, crossings, stretches
from breathe.valvetrain.dwell import case

ENGINES = Path(__file__).parents[2] / "engines"
SPEEDS = {
    "single_400": tuple(1000.0 * n for n in range(2, 11)),
    "road_four_sleeve": tuple(1500.0 + 1000.0 * n for n in range(7)),
    "pushrod_eight": (2500.0, 3200.0, 4700.0, 5200.0, 5700.0, 6200.0),
}
SLEEVE = {
    "single_400": ("220°", "240°", "260°", "280°", "300°"),
    "road_four_sleeve": ("228°", "240°", "252°", "264°", "276°", "288°"),
}


@cache
def supplied(name: str) -> Engine:
    return read_engine(ENGINES / f"{name}.toml")


@cache
def table(name: str) -> pd.DataFrame:
    """Every setting at full load; the eight only with its standard cam."""
    engine = supplied(name)
    chosen = [s for s in engine.settings if name in SLEEVE or s.label == engine.standard]
    return compare(engine, SPEEDS[name], chosen).table


def curve(name: str, label: str, column: str = "torque_Nm") -> np.ndarray:
    rows = table(name)
    return rows.loc[rows.setting == label, column].to_numpy(dtype=float)


@pytest.mark.parametrize("name", SPEEDS)
def test_every_case_is_settled_and_closed(name):
    rows = table(name)
    assert rows.settled.all()
    assert rows.mass_closure.abs().max() < 1e-10
    assert rows.energy_closure.abs().max() < 1e-10


# --- Classes of engine ----------------------------------------------------------------------------
# Peak e_v on plenum density, peak bmep [bar], mean piston speed at the power peak [m/s]; common
# practice, no source. The four and the single are 'performance four-valve'. The eight, a road
# engine with a warm cam and long headers, is 'performance two-valve' by filling; its row of piston
# speed begins at 17 and the row before, 'stock two-valve', ends at 16: it may lie between them.
CLASSES = {
    "single_400": ((1.00, 1.10), (11.5, 13.5), (19.0, 23.0)),
    "road_four_sleeve": ((1.00, 1.10), (11.5, 13.5), (19.0, 23.0)),
    "pushrod_eight": ((0.90, 1.00), (10.5, 12.0), (16.0, 21.0)),
}


@pytest.mark.parametrize("name", CLASSES)
def test_g5_the_standard_cam_belongs_to_its_class(name):
    engine, (ve, bmep, piston_speed) = supplied(name), CLASSES[name]
    standard = engine.standard
    assert ve[0] <= curve(name, standard, "volumetric_efficiency_plenum").max() <= ve[1]
    assert bmep[0] <= curve(name, standard, "bmep_Pa").max() / 1e5 <= bmep[1]
    at_peak = SPEEDS[name][int(np.argmax(curve(name, standard, "power_W")))]
    speed = 2 * engine.cylinder.stroke_m * at_peak / 60
    assert piston_speed[0] <= speed <= piston_speed[1]


# --- What duration does ---------------------------------------------------------------------------


@pytest.mark.parametrize("name", SLEEVE)
def test_b5_longer_never_lowers_the_speed_of_the_torque_peak(name):
    # Common practice, no source: torque peak up with duration, never down.
    peaks = [int(np.argmax(curve(name, label))) for label in SLEEVE[name]]
    assert peaks == sorted(peaks)
    assert peaks[-1] > peaks[0]


# Pairs 24 degrees apart on the four, 20 on the single.
PAIRS = {
    "single_400": [("220°", "240°"), ("240°", "260°"), ("260°", "280°")],
    "road_four_sleeve": [("228°", "252°"), ("240°", "264°"), ("252°", "276°"), ("264°", "288°")],
}


@pytest.mark.parametrize("name", PAIRS)
def test_h4_longer_hurts_below_one_speed_and_helps_above_it(name):
    # One crossing for each pair, apart from pipe ripples, moving up with duration (computed on a
    # bench with a pipe: 30 to 50 ABDC at 4500, 50 to 70 at 5450, 70 to 90 at 6750 rpm).
    found = []
    for short, long in PAIRS[name]:
        crossed = crossings(SPEEDS[name], curve(name, long), curve(name, short), NUMERICAL_ERROR)
        assert len(crossed) == 1, (short, long, crossed)
        assert crossed[0].starts
        found.append(crossed[0].speed_rpm)
    assert all(later > earlier + 200 for earlier, later in pairwise(found))


def test_h4_the_longest_never_helps_within_the_speed_limit():
    # Where the crossing has moved out of reach, longer only hurts.
    long, short = curve("single_400", "300°"), curve("single_400", "280°")
    [only] = stretches(SPEEDS["single_400"], long, short, NUMERICAL_ERROR)
    assert only.verdict == "hurts"


def gain_over_fixed(name: str, label: str) -> np.ndarray:
    """Torque of the best duration at each speed over that of one fixed duration, less 1."""
    best = np.max([curve(name, other) for other in SLEEVE[name]], axis=0)
    return best / curve(name, label) - 1


@pytest.mark.parametrize(
    ("name", "label"),
    [
        ("single_400", "240°"),
        ("single_400", "260°"),
        ("road_four_sleeve", "252°"),
        ("road_four_sleeve", "264°"),
    ],
)
def test_h3_a_fixed_cam_loses_nothing_at_its_own_best_speed(name, label):
    # 0 to 1 % at its own best speed, growing to both sides (from the same tables as above). A pipe
    # ripple may bring a cam back near the best at a single speed, so a side counts as a whole.
    gain = gain_over_fixed(name, label)
    own = int(np.argmin(gain))
    assert 0 < own < len(gain) - 1
    assert gain[own] <= 0.01
    assert min(gain[:own].max(), gain[own + 1 :].max()) > gain[own] + 2 * NUMERICAL_ERROR


@pytest.mark.parametrize("label", ["252°", "264°"])
def test_h3_the_gain_grows_to_both_sides(label):
    # On the four, whose pipes ripple least; 1 % is left for ripples.
    gain = gain_over_fixed("road_four_sleeve", label)
    own = int(np.argmin(gain))
    assert np.all(np.diff(gain[: own + 1]) < 0.01)
    assert np.all(np.diff(gain[own:]) > -0.01)


# --- Similar engines ------------------------------------------------------------------------------


def similar(engine: Engine, scale: float) -> Engine:
    """Every length times ``scale``; temperatures and angles as they were."""

    def lengths(part, *names: str):
        return replace(part, **{n: scale * getattr(part, n) for n in names})

    def valve(part: Valve) -> Valve:
        return lengths(
            part, "head_diameter_m", "throat_diameter_m", "stem_diameter_m", "seat_width_m"
        )

    def cam(part: Cam) -> Cam:
        return replace(lengths(part, "lash_m"), lobe=lengths(part.lobe, "lift_m"), sleeve=None)

    pipes = [
        replace(
            lengths(p, "roughness_m"),
            station_m=tuple(scale * x for x in p.station_m),
            diameter_m=tuple(scale * x for x in p.diameter_m),
        )
        for p in engine.pipes
    ]
    chambers = [
        replace(c, volume_m3=scale**3 * c.volume_m3, wall_area_m2=scale**2 * c.wall_area_m2)
        for c in engine.chambers
    ]
    return replace(
        engine,
        cylinder=lengths(engine.cylinder, "bore_m", "stroke_m", "rod_m", "pin_offset_m"),
        intake_valve=valve(engine.intake_valve), exhaust_valve=valve(engine.exhaust_valve),
        intake_cam=cam(engine.intake_cam), exhaust_cam=cam(engine.exhaust_cam),
        pipes=tuple(pipes), chambers=tuple(chambers),
    )  # fmt: skip


@pytest.mark.parametrize("scale", [0.6, 1.5])
@pytest.mark.parametrize("speed", [4000.0, 7000.0])
def test_a4_similar_engines_fill_alike(scale, speed):
    # C. F. Taylor, The Internal-Combustion Engine in Theory and Practice, vol. 1, chs. 6 and 11,
    # the MIT similar engines (from memory): same e_v at the same mean piston speed; 4 % with heat
    # transfer and wall friction on.
    engine = replace(supplied("single_400"), burn=phased_burn("single_400"))
    cells = Resolution(intake_cell_m=0.010 * scale, exhaust_cell_m=0.020 * scale)

    def ve(one: Engine, rpm: float, resolution: Resolution) -> float:
        ready = case(one, Setting(label="short"), Operating(speed_rpm=rpm))
        return simulate(ready, resolution=resolution)[0].volumetric_efficiency_plenum

    own = ve(engine, speed, Resolution())
    assert ve(similar(engine, scale), speed / scale, cells) == pytest.approx(own, rel=0.04)


def phased_burn(name: str):
    """A fixed phasing, so that knock has no say in a check of breathing."""
    return replace(supplied(name).burn, ca50_deg=10.0)


# --- The pressure before the valve closes ---------------------------------------------------------


# Ohata & Ishida, 1981, and SAE 820407, 1982 (abstract read): e_v is governed by port pressure
# shortly before intake closing; R2 above 0.85 over a speed sweep of any tuned engine, last 40
# degrees.


@pytest.mark.xfail(
    strict=True,
    reason="R2 is 0.52 on the single and 0.62 on the four, 0.00 to 0.76 for other durations: the "
    "exhaust's own tuning moves e_v, and in the last 20 of the 40 degrees lift is below 1.3 mm of "
    "9.4; both set right, the check below holds",
)
@pytest.mark.parametrize("name", ["single_400", "road_four_sleeve"])
def test_e3_port_pressure_before_closing_decides(name):
    ve = curve(name, "std", "volumetric_efficiency_ambient")
    pressure = curve(name, "std", "port_pressure_before_ivc_Pa")
    assert np.corrcoef(ve, pressure)[0, 1] ** 2 > 0.85


def bare_exhaust(engine: Engine) -> Engine:
    """The single with its exhaust port open to the air, so that only the intake is tuned."""
    port, tail = (
        next(p for p in engine.pipes if p.name == n) for n in ("exhaust port", "tailpipe")
    )
    short = corrected(replace(port, end=tail.end), Findings())
    return replace(
        engine,
        pipes=(*(p for p in engine.pipes if p.side == "intake"), short),
        chambers=tuple(c for c in engine.chambers if c.side == "intake"),
    )


@pytest.mark.parametrize("label", ["240°", "260°", "std"])
def test_e3_port_pressure_before_closing_decides_without_exhaust_tuning(label):
    # The last 40 degrees before lift falls below 1.27 mm (0.050 in), where flow all but ends.
    engine = replace(bare_exhaust(supplied("single_400")), burn=phased_burn("single_400"))
    setting = next(s for s in engine.settings if s.label == label)
    ve, pressure = [], []
    for rpm in np.arange(2500.0, 9001.0, 500.0):
        ready = case(engine, setting, Operating(speed_rpm=float(rpm)))
        done = simulate(ready, traces=True)[0]
        assert done.trace is not None
        open_at = ready.intake.angle_deg[ready.intake.lift_m > 1.27e-3]
        closes = int(open_at.max())
        ve.append(done.volumetric_efficiency_plenum)
        pressure.append(done.trace.intake_port_pressure_Pa[0, closes - 40 : closes].mean())
    assert np.corrcoef(ve, pressure)[0, 1] ** 2 > 0.85


# --- Residual gas ---------------------------------------------------------------------------------
# Signs of E. A. Fox, W. K. Cheng, J. B. Heywood, A model for predicting residual gas fraction in
# spark-ignition engines, SAE 931025, 1993 (formula from memory; the set of variables confirmed by
# the abstract of an MIT thesis of 2000, read): residual up with overlap, down with speed at part
# load, up as intake pressure falls, down as compression ratio rises.


@cache
def residual(
    intake_bar: float = 0.5, rpm: float = 1500.0, moved_deg: float = -10.0, ratio: float = 11.8
) -> float:
    """Residual fraction of the single breathing from air at ``intake_bar``, exhaust at 1 bar.

    Both cams are moved towards (positive) or away from each other by ``moved_deg``.
    """
    engine = supplied("single_400")
    engine = replace(
        engine,
        burn=phased_burn("single_400"),
        cylinder=replace(engine.cylinder, compression_ratio=ratio),
        outsides=tuple(
            replace(o, pressure_Pa=1e5 * (1.0 if "exhaust" in o.name else intake_bar))
            for o in engine.outsides
        ),
    )
    standard = next(s for s in engine.settings if s.label == "std")
    setting = replace(standard, intake_shift_deg=-moved_deg, exhaust_shift_deg=moved_deg)
    ready = case(engine, setting, Operating(speed_rpm=rpm, lambda_=1.0))
    # A charge of seven parts residual in ten, at 1000 rpm and 0.5 bar, takes some 70 cycles.
    done: Cycle = simulate(ready, limit=120)[0]
    assert done.settled
    return done.residual_fraction


def rising(values: list[float], factor: float = 1.02) -> bool:
    return all(b > factor * a for a, b in pairwise(values))


@pytest.mark.parametrize("rpm", [1500.0, 3000.0])
def test_c1_residual_rises_with_overlap_at_part_load(rpm):
    assert rising([residual(0.5, rpm, moved) for moved in (-15.0, -10.0, -5.0, 0.0)])


@pytest.mark.parametrize("moved", [-15.0, -10.0, 0.0])
def test_c1_residual_falls_with_speed_at_part_load(moved):
    assert rising([residual(0.5, rpm, moved) for rpm in (3000.0, 2000.0, 1500.0, 1000.0)])


@pytest.mark.parametrize(("moved", "lowest"), [(-15.0, 0.3), (0.0, 0.4)])
def test_c1_residual_rises_as_intake_pressure_falls(moved, lowest):
    # With the standard overlap the charge no longer burns at 0.3 bar: no cycle repeats there.
    bars = [bar for bar in (0.9, 0.7, 0.5, 0.4, 0.3) if bar >= lowest]
    assert rising([residual(bar, 1500.0, moved) for bar in bars])


@pytest.mark.parametrize("moved", [-15.0, -10.0])
def test_c1_residual_falls_with_compression_ratio(moved):
    assert rising([residual(0.5, 1500.0, moved, ratio) for ratio in (14.0, 12.0, 10.0, 8.0)])
