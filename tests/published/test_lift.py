"""Lift laws, cam-card arithmetic, dwell and valve areas against values from outside the project."""

from __future__ import annotations

import math

import numpy as np
import pytest

from breathe.engine.parts import Cam, Lobe, Sleeve, Valve
from breathe.valvetrain.dwell import crank_deg_per_m, event, flank_splines, lift_curve
from breathe.valvetrain.laws import LAWS, power_cosine
from breathe.valvetrain.lobe import Ramp, lobe_from_card, lobe_from_law
from breathe.valvetrain.opening import (
    bench_coefficient,
    curtain_area,
    curtain_coefficient,
    default_coefficients,
    effective_area,
    least_area,
    throat_area,
    throat_stage_lift,
)
from breathe.valvetrain.timing import (
    advanced,
    card_centreline_deg,
    card_duration_deg,
    card_overlap_deg,
    duration_deg,
    equal_lift_centreline_deg,
    lift_area_m_deg,
    lobe_separation_cam_deg,
    lobe_separation_for_overlap,
    overlap_deg,
    timing,
)

PI = math.pi
X = np.linspace(0.0, 1.0, 200_001)

# B-1a to B-1h: peak velocity, acceleration, jerk and velocity times acceleration, dimensionless.
# Modified sine: Rothbart (ed.), Cam Design Handbook, 2004, eq. 3.16 (read). The others: standard
# forms as in Norton, Cam Design and Manufacturing Handbook (from memory; recomputed).
# None: the largest jerk is at a step of acceleration and has no bound.
LAW_TABLE = [
    ("constant acceleration", 2.0, 4.0, None, 8.0),
    ("simple harmonic", PI / 2, PI**2 / 2, PI**3 / 2, 3.8758),
    ("cycloidal", 2.0, 2 * PI, 4 * PI**2, 8.1621),
    ("modified trapezoid", 2.0, 8 * PI / (2 + PI), 32 * PI**2 / (2 + PI), 8.0900),
    ("modified sine", 4 * PI / (4 + PI), 4 * PI**2 / (4 + PI), 16 * PI**3 / (4 + PI), 5.4578),
    ("3-4-5", 15 / 8, 10 / math.sqrt(3), 60.0, 6.6943),
    ("4-5-6-7", 35 / 16, 84 * math.sqrt(5) / 25, 52.5, 10.7502),
    ("5-6-7-8-9", 2.460938, 9.371980, 78.75, 15.4359),
]


@pytest.mark.parametrize(("name", "velocity", "acceleration", "jerk", "product"), LAW_TABLE)
def test_b1_law_peaks(name, velocity, acceleration, jerk, product):
    law = LAWS[name]
    v, a = law.velocity(X), law.acceleration(X)
    assert v.max() == pytest.approx(velocity, rel=1e-6)
    assert np.abs(a).max() == pytest.approx(acceleration, rel=1e-6)
    assert (v * a).max() == pytest.approx(product, rel=1e-4)
    if jerk is None:
        assert np.all(law.jerk(X) == 0)
    else:
        assert np.abs(law.jerk(X)).max() == pytest.approx(jerk, rel=1e-5)


# B-1f, B-1g, B-1h: signed jerk at the middle, and early peaks or places (recomputed).
def test_b1_jerk_and_peak_places():
    assert LAWS["3-4-5"].jerk(0.5) == pytest.approx(-30.0)
    assert LAWS["4-5-6-7"].jerk(0.5) == pytest.approx(-52.5)
    assert LAWS["5-6-7-8-9"].jerk(0.5) == pytest.approx(-78.75)
    assert LAWS["4-5-6-7"].jerk(X).max() == pytest.approx(42.0, rel=1e-6)
    assert LAWS["5-6-7-8-9"].jerk(X).max() == pytest.approx(51.43, abs=0.005)
    assert X[LAWS["3-4-5"].acceleration(X).argmax()] == pytest.approx(0.21132, abs=1e-5)
    assert X[LAWS["4-5-6-7"].acceleration(X).argmax()] == pytest.approx(0.27639, abs=1e-5)


# B-1i: 10 mm in 60 cam deg at 3000 cam rpm: m/s, m/s2, mm/deg, mm/deg2 (recomputed).
EXAMPLE = [
    ("cycloidal", 6.0000, 5654.9, 0.33333, 0.0174533),
    ("3-4-5", 5.6250, 5196.2, 0.31250, 0.0160375),
    ("modified sine", 5.2788, 4975.2, 0.29327, 0.0153554),
    ("modified trapezoid", 6.0000, 4399.3, 0.33333, 0.0135781),
]


@pytest.mark.parametrize(("name", "m_s", "m_s2", "mm_deg", "mm_deg2"), EXAMPLE)
def test_b1i_worked_example(name, m_s, m_s2, mm_deg, mm_deg2):
    law, per_s = LAWS[name], 6.0 * 3000  # cam degrees per second
    v = law.velocity(X).max() * 10 / 60
    a = law.acceleration(X).max() * 10 / 60**2
    assert v == pytest.approx(mm_deg, abs=5e-6)
    assert a == pytest.approx(mm_deg2, abs=5e-8)
    assert v * per_s / 1e3 == pytest.approx(m_s, abs=5e-5)
    assert a * per_s**2 / 1e3 == pytest.approx(m_s2, abs=0.05)


# B-1j: 0.01 mm/deg2 at 3000 cam rpm is 3240 m/s2; 1 mm/deg2 is 3282.80635 mm/rad2 (recomputed).
# A lobe built with that peak acceleration must show it, per crank degree a quarter.
def test_b1j_units_of_acceleration_on_a_built_lobe():
    cam_deg = 60.0
    lift_m = 0.01e-3 * cam_deg**2 / (2 * PI)
    curve, _ = flank_splines(lobe_from_law(lift_m, 2 * cam_deg, LAWS["cycloidal"]))
    per_crank_deg2 = curve.derivative(2)(curve.x).max()
    crank_deg_per_s = 6.0 * 6000
    assert per_crank_deg2 * crank_deg_per_s**2 == pytest.approx(3240.0, rel=1e-4)
    assert per_crank_deg2 * 4 * (180 / PI) ** 2 * 1e3 == pytest.approx(32.8280635, rel=1e-4)


# B-7c: cam cards. 20-60/60-20, and 10 after TDC with 39 ABDC: read in degreeing examples;
# the others recomputed. IVO BTDC, IVC ABDC, EVO BBDC, EVC ATDC.
CARDS = [
    ((20, 60, 60, 20), (260, 260, 110, 110, 110, 40)),
    ((25, 65, 70, 20), (270, 270, 110, 115, 112.5, 45)),
    ((-4, 36, 44, -4), (212, 220, 110, 114, 112, -8)),
]


@pytest.mark.parametrize(("card", "wanted"), CARDS)
def test_b7c_card_arithmetic(card, wanted):
    ivo, ivc, evo, evc = card
    intake, exhaust = card_duration_deg(ivo, ivc), card_duration_deg(evc, evo)
    icl, ecl = card_centreline_deg(ivo, ivc), card_centreline_deg(evc, evo)
    separation = lobe_separation_cam_deg(icl, ecl)
    overlap = card_overlap_deg(intake, exhaust, separation)
    assert (intake, exhaust, icl, ecl, separation, overlap) == wanted
    assert overlap == ivo + evc


def test_b7c_single_figures():
    assert card_duration_deg(-10, 39) == 209
    assert card_centreline_deg(-10, 39) == 114.5
    assert lobe_separation_for_overlap(264, 264, 45) == 109.5
    assert card_overlap_deg(280, 280, 108) == 64


# B-7d: advancing 20-60 / 60-20 by 5 crank deg (read).
def test_b7d_advance():
    assert advanced(20, 60, 5) == (25, 55)
    assert advanced(60, 20, 5) == (65, 15)
    assert card_duration_deg(*advanced(20, 60, 5)) == card_duration_deg(20, 60)


# B-7e: centreline by equal lifts (read in a degreeing guide).
def test_b7e_equal_lift_centreline():
    assert equal_lift_centreline_deg(60, 145.5) == 102.75


def model_lobe() -> Lobe:
    """B-7g: ramp 0.02 mm/cam deg with 2 cam deg blend to 0.260 mm, quintic 9.7 mm in 62 cam deg."""
    ramp = Ramp(height_m=0.260e-3, velocity_m_per_deg=0.01e-3, blend_deg=4.0)
    assert ramp.length_deg == pytest.approx(28.0)
    return lobe_from_law(9.96e-3, 152.0, LAWS["3-4-5"], ramp=ramp)


def with_sleeve(lobe: Lobe, slope: float = 3400.0, share: float = 1.0, centre: float = 110) -> Cam:
    sleeve = Sleeve(travel_max_m=0.040, crank_deg_per_m=slope, closing_share=share)
    return Cam(lobe=lobe, centreline_deg=centre, lash_m=0.0, sleeve=sleeve)


# B-7g (recomputed independently): crank duration at checking lifts in mm, 304 at first lift.
MODEL_DURATIONS = [(0.05, 290.0), (0.1524, 269.5), (0.25, 250.0), (0.5, 220.5), (1.0, 199.2)]
MODEL_DURATIONS += [(1.27, 191.5)]


@pytest.mark.parametrize("added_cam_deg", [0.0, 10.0, 42.5])
@pytest.mark.parametrize(("checking_mm", "duration"), MODEL_DURATIONS)
def test_b7g_c_durations_grow_alike_at_every_checking_lift(checking_mm, duration, added_cam_deg):
    lift = event(with_sleeve(model_lobe()), travel_m=2 * added_cam_deg / 3400.0, side="intake")
    assert duration_deg(lift) == pytest.approx(304.0 + 2 * added_cam_deg, abs=1e-9)
    wanted = duration + 2 * added_cam_deg
    assert duration_deg(lift, checking_mm * 1e-3) == pytest.approx(wanted, abs=0.05)


# C-1: 25 mm of travel giving 85 crank deg is a lead of 211.765 mm per cam turn (common practice, no
# source; recomputed).
def test_c1_slope_of_the_sleeve():
    assert crank_deg_per_m(0.211765) * 1e-3 == pytest.approx(3.4, rel=1e-5)
    assert crank_deg_per_m(0.211765) * 0.025 == pytest.approx(85.0, rel=1e-5)
    assert crank_deg_per_m(0.215153) * 0.0254 == pytest.approx(85.0, rel=1e-5)


# C-4: flank motion is the same at every setting (the user's own statement; exact by construction).
@pytest.mark.parametrize("name", [*LAWS, "ramp"])
@pytest.mark.parametrize("share", [0.0, 0.5, 1.0])
def test_c4_flank_peaks_do_not_depend_on_travel(name, share):
    lobe = model_lobe() if name == "ramp" else lobe_from_law(0.010, 130.0, LAWS[name])
    cam = with_sleeve(lobe, share=share)

    def peaks(travel_m: float) -> list[float]:
        curve = lift_curve(cam, travel_m=travel_m, side="intake")
        result = []
        for order in (1, 2, 3):
            derivative = curve.derivative(order)
            ends = np.concatenate([derivative.c[-1], derivative(curve.x[1:-1])])
            turns = derivative.derivative().roots(extrapolate=False) if order == 1 else []
            inside = derivative(np.asarray(turns, dtype=float))
            result.append(np.nanmax(np.abs(np.concatenate([ends, inside]))))
        return result

    at_zero = peaks(0.0)
    for travel_mm in (0.001, 5.88, 11.7647, 25.0):
        assert peaks(travel_mm * 1e-3) == pytest.approx(at_zero, rel=1e-9)


# C: lift area grows by lift times slope, 34 mm deg per mm for 10 mm (exact).
def test_c_area_rule():
    cam = with_sleeve(lobe_from_law(0.010, 130.0, LAWS["modified sine"]))
    areas = [lift_area_m_deg(event(cam, travel_m=t * 1e-3, side="intake")) for t in (0, 7, 14)]
    assert np.diff(areas) * 1e3 / 7 == pytest.approx([34.0, 34.0], rel=1e-6)


# BR-B2: IVO at TDC, half-cosine rise over 90 deg to 12 mm, dwell, half-cosine fall: IVC = D ABDC
# (definition of the filling bench; the formula is written out here).
@pytest.mark.parametrize("dwell", [30.0, 70.0, 110.0])
def test_br_b2_bench_lift(dwell):
    cam = with_sleeve(lobe_from_law(0.012, 90.0, LAWS["simple harmonic"]), centre=90.0)
    lift = event(cam, travel_m=dwell / 3400.0, side="intake")
    after_tdc = lift.angle_deg - 360.0
    rise = 0.006 * (1 - np.cos(np.radians(2 * after_tdc)))
    fall = 0.006 * (1 + np.cos(np.radians(2 * (after_tdc - 90 - dwell))))
    wanted = np.select(
        [(after_tdc > 0) & (after_tdc < 90), (after_tdc >= 90) & (after_tdc <= 90 + dwell)],
        [rise, 0.012],
        np.where((after_tdc > 90) & (after_tdc < 180 + dwell), fall, 0.0),
    )
    assert np.abs(lift.lift_m - wanted).max() < 1e-9
    assert timing(lift, "intake").closes == f"{dwell:.0f} ABDC"


# The invented four E1 and its sleeve cam E1v; figures follow from geometry alone (recomputed).
def standard_lobe() -> Lobe:
    return lobe_from_card(264, 0.10e-3, 9.5e-3, second=(232, 1.0e-3))[0]


def sleeve_cam() -> Cam:
    lobe, note = lobe_from_card(228, 0.10e-3, 9.5e-3, second=(198, 1.0e-3))
    assert note is None
    return with_sleeve(lobe, slope=5000.0, centre=92.0)


def test_e1_events_in_trade_words():
    cam = Cam(lobe=standard_lobe(), centreline_deg=110, lash_m=0.0)
    intake, exhaust = event(cam, side="intake"), event(cam, side="exhaust")
    at = timing(intake, "intake", 0.1e-3)
    assert (at.opens, at.closes) == ("22 BTDC", "62 ABDC")
    assert at.duration_deg == pytest.approx(264, abs=1e-4)
    assert duration_deg(intake, 1.0e-3) == pytest.approx(232, abs=1e-4)
    assert at.centreline_deg == pytest.approx(110, abs=1e-4)
    out = timing(exhaust, "exhaust", 0.1e-3)
    assert (out.opens, out.closes) == ("62 BBDC", "22 ATDC")
    assert out.centreline_deg == pytest.approx(110, abs=1e-4)
    assert overlap_deg(intake, exhaust, 0.1e-3) == pytest.approx(44, abs=1e-4)


@pytest.mark.parametrize(
    ("lobe", "base_cam_deg", "exponent"),
    [(standard_lobe(), 68.33, 1.556), (sleeve_cam().lobe, 59.51, 1.676)],
)
def test_card_flank_is_the_power_cosine_above_the_checking_lift(lobe, base_cam_deg, exponent):
    shape = 9.5e-3 * power_cosine(np.abs(lobe.angle_deg) / 2 / base_cam_deg, exponent)
    above = shape > 0.1e-3
    # The exponents are given to four digits, which moves lift by up to about 0.003 mm.
    assert np.abs(lobe.lift_m - shape)[above].max() < 3e-6


E1V = [(0.0, 26), (2.4, 38), (4.8, 50), (7.2, 62), (9.6, 74), (12.0, 86)]


@pytest.mark.parametrize(("travel_mm", "ivc"), E1V)
def test_e1v_settings(travel_mm, ivc):
    lift = event(sleeve_cam(), travel_m=travel_mm * 1e-3, side="intake")
    at = timing(lift, "intake", 0.1e-3)
    assert (at.opens, at.closes) == ("22 BTDC", f"{ivc} ABDC")
    assert at.duration_deg == pytest.approx(202 + ivc, abs=1e-4)
    if travel_mm == 7.2:
        assert duration_deg(lift, 1.0e-3) == pytest.approx(234, abs=1e-4)


def valve(head_mm: float, throat_mm: float, stem_mm: float, seat_mm: float = 1.5) -> Valve:
    return Valve(
        count=1,
        head_diameter_m=head_mm * 1e-3,
        throat_diameter_m=throat_mm * 1e-3,
        stem_diameter_m=stem_mm * 1e-3,
        seat_angle_deg=45.0,
        seat_width_m=seat_mm * 1e-3,
        coefficients=default_coefficients("intake"),
    )


# A-6h, A-6i: plain geometry (recomputed).
def test_a6h_areas():
    assert curtain_area(0.010, 0.040) * 1e6 == pytest.approx(1256.64, abs=0.005)
    assert throat_area(valve(40, 35, 7)) * 1e6 == pytest.approx(923.63, abs=0.005)


def test_a6i_curtain_equals_head_area_at_a_quarter():
    assert curtain_area(0.25 * 0.037, 0.037) == pytest.approx(PI / 4 * 0.037**2, rel=1e-12)


# A-6j: bench coefficient, 200 cfm at 28 inH2O on a 1.94 in valve, basis 146 cfm/in2 (recomputed).
@pytest.mark.parametrize(
    ("lift_in", "wanted"), [(0.3, 0.7492), (0.4, 0.5619), (0.485, 0.4634), (0.2, 1.124)]
)
def test_a6j_bench_coefficient(lift_in, wanted):
    cfm = 0.0254**3 * 1728 / 60
    area = float(curtain_area(lift_in * 0.0254, 1.94 * 0.0254))
    found = bench_coefficient(200 * cfm, area, 146 * cfm / 0.0254**2)
    assert found == pytest.approx(wanted, abs=1e-3 if wanted > 1 else 5e-5)


# A-V1: J. B. Heywood, Internal Combustion Engine Fundamentals, 1988, eqs. 6.7-6.9 (from memory;
# recomputed; that the stages join proves the recall). Lift mm, least area mm2.
LEAST = [(1, 74.418), (2, 151.058), (3, 229.919), (4, 315.994), (6, 514.115), (8, 723.018)]
LEAST += [(8.9816, 827.024), (12, 827.024)]


@pytest.mark.parametrize(("lift_mm", "area_mm2"), LEAST)
def test_av1_least_area(lift_mm, area_mm2):
    found = least_area(lift_mm * 1e-3, valve(36, 33, 6)) * 1e6
    assert found == pytest.approx(area_mm2, abs=1e-3)


def test_av1_stages_join():
    seat = valve(36, 33, 6)
    assert throat_stage_lift(seat) * 1e3 == pytest.approx(8.98155, abs=5e-6)
    for lift_mm in (3.0, 8.98155):
        below, above = least_area(np.array([lift_mm - 1e-6, lift_mm + 1e-6]) * 1e-3, seat)
        assert above * 1e6 == pytest.approx(below * 1e6, abs=1e-3)


# A-V3: the dictionary figures on geometric area, 0.90-0.95 at small lift and 0.7 near full lift
# (JSME Mechanical Engineering Dictionary, 'valve discharge coefficient', read), on curtain area.
@pytest.mark.parametrize(
    ("lift_mm", "on_least", "wanted"),
    [(2, 0.90, 0.601), (2, 0.95, 0.634), (8, 0.7, 0.559), (9, 0.7, 0.569)],
)
def test_av3_coefficient_on_curtain_area(lift_mm, on_least, wanted):
    found = curtain_coefficient(lift_mm * 1e-3, valve(36, 33, 6), on_least)
    assert found == pytest.approx(wanted, abs=6e-4)


# A-V4: Annand & Roe, Gas Flow in the Internal Combustion Engine, 1974; Heywood, 1988, figs.
# 6.18-6.20 (from memory). A-V5: Heywood, fig. 6.21 (from memory).
BANDS = {
    "intake": [
        (0.05, 0.60, 0.75),
        (0.10, 0.60, 0.70),
        (0.15, 0.57, 0.68),
        (0.20, 0.52, 0.65),
        (0.25, 0.47, 0.60),
        (0.30, 0.42, 0.55),
    ],
    "exhaust": [(0.03, 0.60, 0.80), (0.05, 0.60, 0.80), (0.09, 0.60, 0.80), (0.20, 0.55, 0.70)],
}


@pytest.mark.parametrize("side", ["intake", "exhaust"])
@pytest.mark.parametrize("way", ["forward", "reverse"])
def test_av4_av5_default_coefficients_lie_in_the_band(side, way):
    given = default_coefficients(side)
    for at, low, high in BANDS[side]:
        found = np.interp(at, given.lift_over_diameter, getattr(given, way))
        assert low <= found <= high, (at, found)


@pytest.mark.parametrize("side", ["intake", "exhaust"])
def test_default_area_never_falls_nor_passes_the_throat(side):
    shape = valve(34, 29, 6, 1.2)
    shape = Valve(
        **{name: getattr(shape, name) for name in Valve.__slots__ if name != "coefficients"},
        coefficients=default_coefficients(side),
    )
    lift = np.linspace(0, 0.6 * 0.034, 4001)
    for area in effective_area(lift, shape):
        assert np.all(np.diff(area) >= -1e-15)
        assert area.max() <= throat_area(shape) * (1 + 1e-12)
        assert area[0] == 0
