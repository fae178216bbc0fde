"""One cylinder filling through one valve, against ceilings, geometry and twice-computed tables.

The tables marked 'computed, recomputed' come from two independent implementations outside this
project; the set-up is repeated here in full so that a third hand can check it. Bench R1 throughout:
a generic two-valve V8 cylinder, 101.6 x 88.39 mm, rod 144.78 mm, compression ratio 10, one inlet
valve of 51.3 mm; gas R 287, gamma 1.38; plenum 1 bar, 310 K; clearance gas 1 bar, 1100 K at TDC;
lift from TDC, half-cosine flanks of 90 degrees to 12 mm with a dwell D between, so that the valve
closes D degrees after BDC.
"""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest
from filling_bench import FLOW_COEFFICIENT, THROAT_SHARE, Bench, Filling, filling_bench, half_cosine
from filling_bench import _at_the_valve as fill_at_the_valve
from scipy.optimize import brentq, minimize_scalar

from breathe.cycle.piston import bore_area, mean_speed, slider_crank, volume
from breathe.engine.parts import Cylinder
from breathe.gas.mixture import Charge

BORE, STROKE, ROD, RATIO, HEAD = 0.1016, 0.08839, 0.14478, 10.0, 0.0513
GAMMA, GAS_CONSTANT, INLET_K = 1.38, 287.0, 310.0
SOUND = math.sqrt(GAMMA * GAS_CONSTANT * INLET_K)
FLANK, LIFT = 90.0, 0.012
R1 = slider_crank(Cylinder(bore_m=BORE, stroke_m=STROKE, rod_m=ROD, compression_ratio=RATIO))
SWEPT = volume(R1, 180.0) - volume(R1, 0.0)
LONG_PIPE, SHORT_PIPE = (0.350, 0.048), (0.250, 0.050)
PORT = (0.100, 0.100)
"""A pipe so short and fat that it only keeps what was pushed back: no ram at the speeds used."""


@cache
def fill(dwell: float, speed: float, pipe=None, scale: float = 1.0, cells: int = 40) -> Filling:
    length, bore = pipe if pipe else (None, None)
    return filling_bench(
        bore=scale * BORE, stroke=scale * STROKE, rod=scale * ROD, compression_ratio=RATIO,
        valve_count=1, valve_diameter=scale * HEAD, max_lift=scale * LIFT, flank=FLANK,
        dwell=dwell, speed=speed / scale, cells=cells,
        pipe_length=length and scale * length, pipe_bore=bore and scale * bore,
    )  # fmt: skip


def ve(dwell: float, speed: float, pipe=None, cells: int = 40) -> float:
    return float(fill(float(dwell), float(speed), pipe, cells=cells).volumetric_efficiency)


# --- The choking ceiling --------------------------------------------------------------------------
# Z = (b/D)^2 s / (C_i a), C_i the inlet flow coefficient averaged over the open period on pi D^2/4.
# C. F. Taylor, The Internal-Combustion Engine in Theory and Practice, vol. 1, ch. 6 (definition
# from memory; the same in public lecture notes on volumetric efficiency, BUET ME 417, 2018, read,
# which give 0.75/Z for 1.3 x 180 degrees). Ceiling on e_v Z at gamma 1.4, computed:
CEILING = {220: 0.707, 234: 0.752, 250: 0.804, 270: 0.868, 290: 0.932, 310: 0.997}


def choked_share(gamma: float) -> float:
    """Choked mass flow over stagnation density times speed of sound times area [-]."""
    return (2 / (gamma + 1)) ** ((gamma + 1) / (2 * (gamma - 1)))


def inlet_mach_index(speed: float, mean_area: float) -> float:
    return float(bore_area(R1)) * float(mean_speed(R1, speed)) / (mean_area * SOUND)


def fb1_mean_area(dwell: float) -> float:
    """Mean effective area of the 90-D-90 lift over its open period [m2]."""
    angle = np.linspace(0.0, 2 * FLANK + dwell, 20001)
    curtain = math.pi * HEAD * LIFT * half_cosine(angle, FLANK, dwell)
    return FLOW_COEFFICIENT * float(
        np.mean(np.minimum(curtain, THROAT_SHARE * math.pi / 4 * HEAD**2))
    )


def test_choked_share_is_the_published_one():
    # 0.5787 at gamma 1.4, 0.582 at 1.35, 0.585 at 1.30: computed.
    for gamma, published in ((1.4, 0.5787), (1.35, 0.582), (1.30, 0.585)):
        assert choked_share(gamma) == pytest.approx(published, abs=5e-4)
    for opening, published in CEILING.items():
        assert choked_share(1.4) * opening / 180 == pytest.approx(published, abs=6e-4)


@pytest.mark.parametrize("dwell", [30, 50, 70, 90])
def test_a1_nothing_passes_the_choking_ceiling(dwell):
    ceiling = choked_share(GAMMA) * (180 + dwell) / 180
    area = fb1_mean_area(dwell)
    reached = [
        ve(dwell, n) * inlet_mach_index(n, area) / ceiling
        for n in (1000, 3000, 6000, 9000, 12000, 16000, 20000, 30000)
    ]
    assert max(reached) <= 1.005
    # At such speeds only choking is left, so the bound is nearly reached: it is not an idle one.
    assert max(reached) >= 0.93


# --- The Z curve ----------------------------------------------------------------------------------
# e_v / e_v(Z = 0.5), exhaust shut, effective area a half-sine from 10 BTDC to 50 ABDC (mean 2/pi of
# its peak), from TDC. Computed, recomputed by a second implementation. The shape follows C. F.
# Taylor, vol. 1, ch. 6, figure about 6-13 (from memory) within 4 % to Z 0.9.
Z_CURVE = {
    0.2: 1.016, 0.3: 1.017, 0.4: 1.011, 0.5: 1.000, 0.6: 0.983, 0.7: 0.955, 0.8: 0.912,
    0.9: 0.857, 1.0: 0.795, 1.2: 0.680, 1.4: 0.587,
}  # fmt: skip
EV_AT_HALF = 0.9215


@cache
def half_sine(z: float) -> float:
    """e_v of the bench with a half-sine area of 240 degrees instead of the half-cosine lift."""
    angle = np.arange(14400) * (720.0 / 14400)
    # From 10 BTDC; the stroke starts at TDC, so what lies before it is never read.
    peak = 0.5 * HEAD**2
    area = peak * np.maximum(np.sin(np.pi * (angle + 10.0) / 240.0), 0.0)
    speed = z * 2 / math.pi * peak * SOUND / (float(bore_area(R1)) * 2 * STROKE / 60)
    clearance = (1e5, 1100.0)
    bench = Bench(R1, area, 230.0, speed, (1e5, INLET_K), clearance, ideal_gas(), GAMMA)
    return float(fill_at_the_valve(bench).volumetric_efficiency)


def ideal_gas() -> Charge:
    """Only R is read where there is no pipe."""
    nothing = np.zeros((2, 7))
    return Charge(
        nothing, nothing, GAS_CONSTANT, GAS_CONSTANT, None, 1.0, 0.0, 0.0, 0.0, 0.0, 1.0, 1.0
    )  # fmt: skip


def test_a2_z_curve():
    assert half_sine(0.5) == pytest.approx(EV_AT_HALF, rel=0.01)
    ours = {z: half_sine(z) / half_sine(0.5) for z in Z_CURVE}
    assert ours == pytest.approx(Z_CURVE, rel=0.01)


# --- Similarity -----------------------------------------------------------------------------------


@pytest.mark.parametrize("scale", [0.6, 1.5])
@pytest.mark.parametrize("pipe", [None, LONG_PIPE], ids=["no pipe", "pipe"])
def test_a4_similar_engines_fill_alike(scale, pipe):
    # C. F. Taylor, vol. 1, chs. 6 and 11, the MIT similar engines (from memory): same e_v at the
    # same mean piston speed. Exact without heat and friction: 0.5 %.
    for speed in (3000.0, 6000.0):
        own = fill(70.0, speed, pipe).volumetric_efficiency
        similar = fill(70.0, speed, pipe, scale).volumetric_efficiency
        assert similar == pytest.approx(own, rel=0.005)


# --- The low-speed limit --------------------------------------------------------------------------
# e_v0 = (V_IVC - V_c) / Vd and compression ratio from IVC, R1. Computed from geometry, recomputed
# to the last digit.
IVC = (20, 30, 40, 50, 60, 70, 80, 90, 100, 110, 120)
E_V0 = (0.979, 0.952, 0.915, 0.867, 0.808, 0.740, 0.663, 0.578, 0.489, 0.398, 0.308)
RATIO_FROM_IVC = (9.81, 9.57, 9.23, 8.80, 8.27, 7.66, 6.96, 6.20, 5.40, 4.58, 3.77)


def test_b1_geometry():
    clearance = volume(R1, 0.0)
    at_ivc = np.array([volume(R1, 180.0 + x) for x in IVC])
    assert (at_ivc - clearance) / SWEPT == pytest.approx(np.array(E_V0), abs=6e-4)
    assert at_ivc / clearance == pytest.approx(np.array(RATIO_FROM_IVC), abs=6e-3)
    # Exhaust closing 20, 30, 40 ATDC with half the new volume drawn from the exhaust costs so much
    # more of e_v (computed, recomputed).
    for evc, cost in ((20, 0.020), (30, 0.043), (40, 0.074)):
        drawn = 0.5 * (volume(R1, float(evc)) - clearance) / SWEPT
        assert drawn == pytest.approx(cost, abs=6e-4)


def test_b1_piston_position_of_a_trade_article():
    # 3.48 in stroke, 5.7 in rod, 70 ABDC: 0.9053 in above BDC (read in a trade article on dynamic
    # compression ratio; computed 0.90534).
    crank = slider_crank(
        Cylinder(bore_m=0.1016, stroke_m=3.48 * 0.0254, rod_m=5.7 * 0.0254, compression_ratio=10.0)
    )
    rise = (volume(crank, 180.0) - volume(crank, 250.0)) / float(bore_area(crank))
    assert rise / 0.0254 == pytest.approx(0.9053, abs=1e-4)


# e_v of the 90-D-90 lift at walking pace, where a closing flank still throttles the push-back, at
# closing 30, 50, 70, 90, 110 ABDC; 0.5 %. Computed by a second implementation. 'lost': gas pushed
# back does not come back in the next cycle; 'waiting': it waits in the port.
SLOW_DWELLS = (30, 50, 70, 90, 110)
SLOW = {
    (200, "lost"): (0.978, 0.921, 0.827, 0.695, 0.533),
    (300, "lost"): (0.980, 0.928, 0.837, 0.709, 0.549),
    (200, "waiting"): (0.976, 0.915, 0.813, 0.670, 0.494),
    (300, "waiting"): (0.979, 0.922, 0.824, 0.685, 0.511),
}


@pytest.mark.parametrize(("speed", "pushed_back"), SLOW)
def test_b1_real_cam_at_walking_pace(speed, pushed_back):
    pipe = PORT if pushed_back == "waiting" else None
    ours = [ve(d, speed, pipe, cells=12) for d in SLOW_DWELLS]
    assert ours == pytest.approx(SLOW[speed, pushed_back], rel=0.005)


# --- One valve, no pipe ---------------------------------------------------------------------------
# e_v by closing angle and speed, 1 %. Computed (step 0.02 degrees), recomputed by a second
# implementation within 0.06 %.
SPEEDS = (1000, 2000, 3000, 4000, 5000, 6000, 7000, 8000, 9000)
AT_THE_VALVE = {
    30: (0.985, 0.981, 0.971, 0.956, 0.934, 0.900, 0.852, 0.794, 0.732),
    50: (0.947, 0.952, 0.948, 0.938, 0.926, 0.911, 0.890, 0.857, 0.811),
    70: (0.873, 0.892, 0.897, 0.894, 0.887, 0.877, 0.866, 0.851, 0.829),
    90: (0.762, 0.796, 0.813, 0.819, 0.820, 0.816, 0.811, 0.803, 0.792),
    110: (0.615, 0.664, 0.693, 0.710, 0.720, 0.725, 0.727, 0.726, 0.722),
}
# The same with the gas pushed back waiting in the port (computed by the second implementation).
WAITING = {
    30: (0.985, 0.980, 0.970), 50: (0.942, 0.949, 0.945), 70: (0.862, 0.883, 0.888),
    90: (0.741, 0.777, 0.794), 110: (0.579, 0.629, 0.657),
}  # fmt: skip


def speed_where_longer_helps(short: float, long: float, low: float, high: float, pipe=None):
    """Speed at which the later closing overtakes, straight between steps of 250 rpm."""
    speeds = np.arange(low, high + 1, 250.0)
    gain = [ve(long, n, pipe) - ve(short, n, pipe) for n in speeds]
    crossed = [i for i in range(len(gain) - 1) if gain[i] < 0 <= gain[i + 1]]
    assert len(crossed) == 1, f"{short} to {long}: crossings at {speeds[crossed]}"
    i = crossed[0]
    return speeds[i] + 250.0 * gain[i] / (gain[i] - gain[i + 1])


def best_closing(speed: float, low: float, high: float, pipe=None) -> float:
    """Closing angle [deg ABDC] of the best e_v: best of steps of 5, then between its neighbours."""
    steps = np.arange(low, high + 1, 5.0)
    best = steps[int(np.argmax([ve(d, speed, pipe) for d in steps]))]
    found = minimize_scalar(
        lambda d: -ve(round(float(d), 2), speed, pipe),
        bounds=(best - 5.0, best + 5.0), method="bounded", options={"xatol": 0.25},
    )  # fmt: skip
    return float(found.x)


@pytest.mark.parametrize("dwell", AT_THE_VALVE)
def test_b2_filling_without_pipe(dwell):
    assert [ve(dwell, n) for n in SPEEDS] == pytest.approx(AT_THE_VALVE[dwell], rel=0.01)


@pytest.mark.parametrize("dwell", WAITING)
def test_b2_filling_when_the_port_keeps_what_is_pushed_back(dwell):
    # Only to 3000 rpm: beyond that the column in our stand-in for a port begins to ram.
    ours = [ve(dwell, n, PORT, cells=12) for n in SPEEDS[:3]]
    assert ours == pytest.approx(WAITING[dwell], rel=0.01)


@pytest.mark.parametrize(("short", "long", "published"), [(30, 50, 5450), (50, 70, 8250)])
def test_b2_speed_where_longer_starts_to_help(short, long, published):
    # Computed 5450, 8250, above 10 000; recomputed 5500, 8280, 11 190 rpm; 200 rpm.
    found = brentq(lambda n: ve(long, n) - ve(short, n), 3000.0, 11000.0, xtol=5.0)
    assert found == pytest.approx(published, abs=200)


def test_b2_longest_helps_only_above_10000():
    found = brentq(lambda n: ve(90, n) - ve(70, n), 6000.0, 14000.0, xtol=5.0)
    assert found > 10000
    assert found == pytest.approx(11190, abs=200)


# Best closing angle by speed (computed; recomputed within 1 degree: 26, 36, 42, 50, 57, 65).
BEST_AT_THE_VALVE = {3000: 27, 5000: 36, 6000: 43, 7000: 50, 8000: 58, 9000: 65}


def test_b2_best_closing_angle():
    ours = {n: best_closing(n, 10, 80) for n in BEST_AT_THE_VALVE}
    assert ours == pytest.approx(BEST_AT_THE_VALVE, abs=2.0)
    # Computed: 20 or earlier; the same band.
    assert best_closing(2000, 5, 40) <= 20.0 + 2.0


# --- The same with a pipe -------------------------------------------------------------------------
# 0.350 m x 48 mm, no friction, bell mouth; the pipe keeps its state from cycle to cycle. e_v by
# closing angle and speed, 2 %. Computed (40 against 120 cells within 0.001), recomputed by a second
# implementation within 0.12 %.
PIPE_SPEEDS = (2000, 3000, 4000, 4500, 5000, 5500, 6000, 6500, 7000, 8000)
WITH_PIPE = {
    30: (0.989, 0.999, 1.092, 1.119, 1.086, 1.034, 0.973, 0.923, 0.800, 0.760),
    50: (0.946, 0.976, 1.057, 1.118, 1.125, 1.135, 1.094, 1.051, 0.949, 0.886),
    70: (0.882, 0.916, 0.967, 1.056, 1.077, 1.138, 1.120, 1.120, 1.064, 0.990),
    90: (0.783, 0.812, 0.833, 0.937, 0.970, 1.064, 1.062, 1.096, 1.084, 1.032),
    110: (0.631, 0.664, 0.671, 0.759, 0.805, 0.916, 0.933, 1.000, 1.014, 0.990),
}


@pytest.mark.parametrize("dwell", WITH_PIPE)
def test_b3_filling_with_pipe(dwell):
    # The bar is 2 %; 0.13 % is attained and 0.3 % asked for, so that a slip shows.
    ours = [ve(dwell, n, LONG_PIPE) for n in PIPE_SPEEDS]
    assert ours == pytest.approx(WITH_PIPE[dwell], rel=0.003)


@pytest.mark.parametrize(
    ("short", "long", "published"),
    [(30, 50, 4500), (50, 70, 5450), (70, 90, 6750), (90, 110, 8500)],
)
def test_b3_speed_where_longer_starts_to_help(short, long, published):
    # Computed; recomputed 4510, 5480, 6720, 8500 rpm; 250 rpm.
    found = speed_where_longer_helps(short, long, 4000, 9000, LONG_PIPE)
    assert found == pytest.approx(published, abs=250)


# Best closing angle by speed (computed; recomputed within 1 degree). Below 4500 rpm it ripples
# between 20 and 30.
BEST_WITH_PIPE = {4500: 40, 5000: 47, 5500: 61, 6000: 65, 6500: 74, 7000: 84, 8000: 90}


def test_b3_best_closing_angle():
    ours = {n: best_closing(n, 30, 100, LONG_PIPE) for n in BEST_WITH_PIPE}
    assert ours == pytest.approx(BEST_WITH_PIPE, abs=2.0)


def test_b3_the_pipe_makes_late_closing_pay():
    # 50 to 70 ABDC pays from 8250 rpm on without and from 5450 rpm on with the pipe (computed).
    assert ve(70, 6500) < ve(50, 6500)
    assert ve(70, 6500, LONG_PIPE) > ve(50, 6500, LONG_PIPE)


# --- Later closing raises the speed of the peak ---------------------------------------------------
# Speed of the highest e_v by closing angle, 0.35 m pipe (recomputed on 250 rpm; 250 rpm).
PEAK_SPEED = {30: 4510, 50: 5290, 60: 5440, 80: 6480, 90: 6660, 110: 6830}


@cache
def peak(dwell: float, pipe, low: float, high: float, step: float) -> tuple[float, float]:
    """Speed and height of the highest e_v, a parabola through the best of steps and its neighbours.

    The curve has humps beside its peak, so the highest is taken.
    """
    speeds = np.arange(low, high + 1, step)
    curve = np.array([ve(dwell, n, pipe) for n in speeds])
    i = int(np.clip(np.argmax(curve), 1, len(curve) - 2))
    before, top, after = curve[i - 1 : i + 2]
    bend = before - 2 * top + after
    shift = 0.5 * (before - after) / bend
    return float(speeds[i] + step * shift), float(top - 0.25 * (before - after) * shift)


def test_b5_later_closing_raises_the_speed_of_the_peak():
    ours = {d: peak(float(d), LONG_PIPE, 3500, 8000, 250)[0] for d in PEAK_SPEED}
    assert ours == pytest.approx(PEAK_SPEED, abs=250)
    # Over 30 degrees or more; between them it goes in two steps from pipe ripple to pipe ripple.
    assert ours[30] < ours[60] < ours[90]
    assert ours[50] < ours[80] < ours[110]
    # On average 290 rpm for 10 degrees (computed); 500 for 10 degrees of duration shared between
    # both ends, with a band of 300 to 700 (common practice, no source).
    assert 200 <= (ours[110] - ours[30]) / 8 <= 380


# --- The tuned pipe -------------------------------------------------------------------------------


def engelman(length: float, bore: float, sound: float = SOUND, constant: float = 2.1) -> float:
    """Speed of the tuned peak [rpm].

    H. W. Engelman, Design of a tuned intake manifold, ASME 73-WA/DGP-2, 1973 (formula from memory,
    its constant derived: a Helmholtz resonator of half the swept volume and the clearance).
    """
    area = math.pi / 4 * bore**2
    inside = 2 * area * (RATIO - 1) / (length * SWEPT * (RATIO + 1))
    return 60 / constant * sound / (2 * math.pi) * math.sqrt(inside)


@pytest.mark.parametrize(
    ("pipe", "formula", "recomputed", "height"),
    [(LONG_PIPE, 5476, 5400, 1.150), (SHORT_PIPE, 6748, 6350, 1.054)],
    ids=["350 x 48", "250 x 50"],
)
def test_e1_tuned_peak(pipe, formula, recomputed, height):
    assert engelman(*pipe) == pytest.approx(formula, rel=1e-3)
    # Closing 60 ABDC. Peak within 10 % of the formula; a second implementation found it at
    # ``recomputed`` on a 50 rpm grid, with e_v ``height``.
    speed, top = peak(60.0, pipe, 4500, 7500, 100)
    assert speed == pytest.approx(engelman(*pipe), rel=0.10)
    assert speed == pytest.approx(recomputed, abs=100)
    assert top == pytest.approx(height, rel=0.005)
