"""Riemann solver and the references of the field runs against published values.

'read' means the figure was seen in the named document, 'from memory' that it was not opened;
every number was also recomputed from its formula.
"""

from __future__ import annotations

import math

import gas_relations as gr
import numpy as np
import pytest
from scipy.integrate import quad

from breathe.gas import nozzle, riemann

AIR_R = 287.05  # J/(kg K)

# --- exact Riemann problems -------------------------------------------------------------
# E. F. Toro, Riemann Solvers and Numerical Methods for Fluid Dynamics, sec. 4.3.3, tables 4.2 and
# 4.3 (T1-T3, T5: p* and u* read in a public repository that quotes them; T4 from memory). Sod,
# J. Comput. Phys. 27 (1978) 1 is T1. Lax, Comm. Pure Appl. Math. 7 (1954) 159, inputs from memory.
# Densities and speeds recomputed to the digits shown.
PROBLEMS = {
    "A-1a": (
        (1.0, 0.0, 1.0, 0.125, 0.0, 0.1),
        (0.3031301781, 0.9274526200, 0.4263194282, 0.2655737117),
        (-1.1832160, -0.0702728, 1.7521557, 1.7521557),
    ),
    "A-1b": (
        (1.0, -2.0, 0.4, 1.0, 2.0, 0.4),
        (0.0018938734, 0.0, 0.0218521182, 0.0218521182),
        (-2.7483315, -0.3483315, 0.3483315, 2.7483315),
    ),
    "A-1c": (
        (1.0, 0.0, 1000.0, 1.0, 0.0, 0.01),
        (460.8937875, 19.5974514, 0.5750622985, 5.9992407048),
        (-37.4165739, -13.8996322, 23.5175370, 23.5175370),
    ),
    "A-1d": (
        (1.0, 0.0, 0.01, 1.0, 0.0, 100.0),
        (46.0950442, -6.1963282, 5.9924168635, 0.5751127898),
        (-7.4374763, -7.4374763, 4.3965657, 11.8321596),
    ),
    "A-1e": (
        (5.99924, 19.5975, 460.894, 5.99242, -6.19633, 46.0950),
        (1691.646955, 8.6897744, 14.2823500, 31.0426016),
        (0.7895939, 0.7895939, 12.2507781, 12.2507781),
    ),
    "A-1f": (
        (0.445, 0.698, 3.528, 0.5, 0.0, 0.571),
        (2.4660979192, 1.5287230266, 0.3445684742, 1.3040845320),
        (-2.6335651, -1.6366974, 2.4793215, 2.4793215),
    ),
    "A-1g": (
        (1.0, 0.75, 1.0, 0.125, 0.0, 0.1),
        (0.46629357, 1.36090552, 0.57986669, 0.33970023),
        (-0.4332160, 0.2998707, 2.1532344, 2.1532344),
    ),
    "A-1h": (
        (4e5 / (287 * 1000), 0.0, 4e5, 1e5 / (287 * 800), 0.0, 1e5),
        (200376.62, 298.0264, 0.8506292, 0.7086492),
        (-633.87696, -276.24530, 773.30309, 773.30309),
    ),
}
# As printed by Toro, table 4.3, digits cut off rather than rounded: p*, u* and what may differ.
PRINTED = {
    "A-1a": ((0.30313, 0.92745), (1e-5, 1e-5)),
    "A-1b": ((0.00189, 0.0), (1e-5, 1e-9)),
    "A-1c": ((460.894, 19.5975), (1e-3, 1e-4)),
    "A-1d": ((46.0950, -6.19633), (1e-4, 1e-5)),
    "A-1e": ((1691.64, 8.68975), (8e-3, 3e-5)),
}


@pytest.mark.parametrize("case", PROBLEMS)
def test_star_state(case):
    states, star, _ = PROBLEMS[case]
    found = riemann.star_state(*states, 1.4)
    for value, expected in zip(found, star, strict=True):
        assert value == pytest.approx(expected, rel=1e-7, abs=1e-9)


@pytest.mark.parametrize("case", PROBLEMS)
def test_wave_speeds(case):
    states, _, speeds = PROBLEMS[case]
    w = riemann.wave_speeds(*states, 1.4)
    found = (w.left_head, w.left_tail, w.right_tail, w.right_head)
    assert found == pytest.approx(speeds, abs=0.51 * 10.0 ** (-5 if case == "A-1h" else -7))


@pytest.mark.parametrize("case", PRINTED)
def test_star_state_as_printed(case):
    (p, u), (p_off, u_off) = PRINTED[case]
    found = riemann.star_state(*PROBLEMS[case][0], 1.4)
    assert found.pressure == pytest.approx(p, abs=p_off)
    assert found.velocity == pytest.approx(u, abs=u_off)


def test_a_1a_positions_at_two_times():
    # Recomputed; diaphragm at 0.5.
    w = riemann.wave_speeds(*PROBLEMS["A-1a"][0], 1.4)
    speeds = np.array([w.left_head, w.left_tail, w.contact, w.right_head])
    at_02 = [0.2633568, 0.4859454, 0.6854905, 0.8504311]
    at_025 = [0.2041960, 0.4824318, 0.7318632, 0.9380389]
    np.testing.assert_allclose(0.5 + 0.2 * speeds, at_02, atol=5.1e-8)
    np.testing.assert_allclose(0.5 + 0.25 * speeds, at_025, atol=5.1e-8)


def test_a_1g_no_expansion_shock_at_the_sonic_point():
    states = PROBLEMS["A-1g"][0]
    left, right = (riemann.sample(s, *states, 1.4) for s in (-1e-9, 1e-9))
    assert left == pytest.approx(right, rel=1e-7)
    assert left.velocity == pytest.approx(math.sqrt(1.4 * left.pressure / left.density), rel=1e-7)


def test_integrated_profile_conserves_mass_in_a_1a():
    # The exact solution itself: mass in [-1, 1] at t = 0.2 is what it was, 1.125 (property).
    states = PROBLEMS["A-1a"][0]
    w = riemann.wave_speeds(*states, 1.4)
    breaks = [0.2 * s for s in (w.left_head, w.left_tail, w.contact, w.right_head)]
    mass, _ = quad(
        lambda x: riemann.sample(x / 0.2, *states, 1.4).density, -1, 1, points=breaks, limit=200
    )
    assert mass == pytest.approx(1.125, rel=1e-9)


# --- isentropic and normal-shock flow ---------------------------------------------------
# Ames Research Staff, NACA Report 1135 (1953), tables I and II (from memory; A/A* at M 0.1-0.3
# read in Farokhi, Aircraft Propulsion, 2nd ed. 2014, app. B). Recomputed to the digits shown.
ISENTROPIC = [
    (0.1, 0.993031, 0.995017, 0.998004, 5.821829, 0.006951, 0.109435),
    (0.2, 0.972497, 0.980277, 0.992063, 2.963520, 0.027230, 0.218218),
    (0.3, 0.939470, 0.956380, 0.982318, 2.035065, 0.059187, 0.325715),
    (0.5, 0.843019, 0.885170, 0.952381, 1.339844, 0.147528, 0.534522),
    (0.8, 0.656022, 0.739992, 0.886525, 1.038230, 0.293898, 0.825137),
    (1.0, 0.528282, 0.633938, 0.833333, 1.0, 0.369797, 1.0),
    (2.0, 0.127805, 0.230048, 0.555556, 1.687500, 0.357853, 1.632993),
]
SHOCKS = [
    (1.1, 0.91177, 1.24500, 1.16908, 1.06494, 0.99893),
    (1.2, 0.84217, 1.51333, 1.34161, 1.12799, 0.99280),
    (1.5, 0.70109, 2.45833, 1.86207, 1.32022, 0.92979),
    (2.0, 0.57735, 4.50000, 2.66667, 1.68750, 0.72087),
    (3.0, 0.47519, 10.33333, 3.85714, 2.67901, 0.32834),
]


@pytest.mark.parametrize("row", ISENTROPIC, ids=lambda r: f"M{r[0]}")
def test_a_2_reference_isentropic(row):
    assert gr.isentropic(row[0]) == pytest.approx(row[1:], abs=5.1e-7)


@pytest.mark.parametrize("row", SHOCKS, ids=lambda r: f"M{r[0]}")
def test_a_2_reference_shock(row):
    assert gr.normal_shock(row[0]) == pytest.approx(row[1:], abs=5.1e-6)


@pytest.mark.parametrize("row", ISENTROPIC[:6], ids=lambda r: f"M{r[0]}")
def test_a_2_flow_function_is_inverse_area_ratio(row):
    # Same mass flow through A and through the sonic A*: psi(p/pt) / psi* = A*/A.
    relative = nozzle.flow_function(row[1], 1.4) / nozzle.flow_function(0.1, 1.4)
    # Half the last digit of p/pt alone moves this by 4e-5 at M 0.1, much less above.
    assert relative == pytest.approx(1 / row[4], rel=5e-5)


@pytest.mark.parametrize("row", SHOCKS, ids=lambda r: f"M{r[0]}")
def test_a_2_riemann_star_state_is_a_normal_shock(row):
    # A shock of Mach M into gas at rest (p 1, rho 1), driven by gas already in the state behind it.
    mach, _, p, rho = row[:4]
    p, rho = gr.normal_shock(mach).pressure, gr.normal_shock(mach).density
    front = mach * math.sqrt(1.4)
    behind = front * (1 - 1 / rho)
    star = riemann.star_state(rho, behind, p, 1.0, 0.0, 1.0, 1.4)
    speeds = riemann.wave_speeds(rho, behind, p, 1.0, 0.0, 1.0, 1.4)
    assert star == pytest.approx((p, behind, rho, rho), rel=1e-12)
    assert speeds.right_head == pytest.approx(front, rel=1e-12)


# --- Fanno and Rayleigh flow ------------------------------------------------------------
# Fanno M 0.10, 0.12 read in Farokhi (2014) app. E; Rayleigh M 0.1-0.8 read in Bar-Meir,
# Fundamentals of Compressible Fluid Mechanics, table 10.1; the rest from memory (Shapiro 1953).
FANNO = [
    (0.10, 66.92156, 1.19760, 10.94351, 5.82183),
    (0.12, 45.40796, 1.19655, 9.11559, 4.86432),
    (0.20, 14.53327, 1.19048, 5.45545, 2.96352),
    (0.30, 5.29925, 1.17878, 3.61906, 2.03507),
    (0.50, 1.06906, 1.14286, 2.13809, 1.33984),
    (0.80, 0.07229, 1.06383, 1.28928, 1.03823),
    (2.0, 0.30500, 0.66667, 0.40825, 1.68750),
]
RAYLEIGH = [
    (0.10, 0.04678, 0.05602, 2.36686, 1.25915, 0.02367),
    (0.20, 0.17355, 0.20661, 2.27273, 1.23460, 0.09091),
    (0.50, 0.69136, 0.79012, 1.77778, 1.11405, 0.44444),
    (0.80, 0.96395, 1.02548, 1.26582, 1.01934, 0.81013),
    (2.0, 0.79339, 0.52893, 0.36364, 1.50310, 1.45455),
]


@pytest.mark.parametrize("row", FANNO, ids=lambda r: f"M{r[0]}")
def test_a_3_reference_fanno(row):
    assert gr.fanno(row[0]) == pytest.approx(row[1:], abs=5.1e-6)


@pytest.mark.parametrize("row", RAYLEIGH, ids=lambda r: f"M{r[0]}")
def test_a_3_reference_rayleigh(row):
    assert gr.rayleigh(row[0]) == pytest.approx(row[1:], abs=5.1e-6)


def test_a_3_reference_limits():
    assert gr.fanno(1e7).friction_length == pytest.approx(0.82151, abs=5.1e-6)
    assert gr.rayleigh(1 / math.sqrt(1.4)).temperature == pytest.approx(1.028571, abs=5.1e-7)


# --- references for the field runs ------------------------------------------------------


def test_a_7_reference_frequencies():
    a = math.sqrt(1.4 * AIR_R * 293.15)
    assert a == pytest.approx(343.232, abs=5.1e-4)
    # A-R7: L 0.4 m, radius 0.02 m; unflanged 0.6133 a (Levine & Schwinger, Phys. Rev. 73 (1948)
    # 383, printed value), flanged 0.8217 a. Organ-pipe textbook formula, from memory.
    for end, f in ((0.0, 214.520), (0.6133, 208.137), (0.8217, 206.054)):
        assert gr.quarter_wave_frequency(0.4, end * 0.02, a) == pytest.approx(f, abs=5.1e-4)
    # A-R9: 1 litre, neck 20 mm by 50 mm, lumped; and as a line with both corrections.
    neck = math.pi * 0.01**2
    for end, f in ((0.0, 136.930), (0.6133 + 0.8217, 120.700), (1.7, 118.289)):
        found = gr.helmholtz_frequency(1e-3, neck, 0.05 + end * 0.01, a)
        assert found == pytest.approx(f, abs=5.1e-4)
    line = gr.neck_line_frequency(1e-3, neck, 0.05 + 1.435 * 0.01, a)
    assert line == pytest.approx(120.295, abs=5.1e-4)
    assert gr.step_reflection(1.0, 4.0) == pytest.approx(-0.6)
    assert gr.step_reflection(1.0, 2.0) == pytest.approx(-1 / 3)


# --- finite waves -----------------------------------------------------------------------
# Earnshaw's relation; Benson, The Thermodynamics and Gas Dynamics of Internal-Combustion Engines,
# vol. 1, 1982; Wallace & Nassif, Proc. IMechE 168 (1954) 1019 (all from memory, recomputed).
A0 = math.sqrt(1.4 * 287.0 * 293.15)
SIMPLE = [  # p/p0, X, u, propagation
    (1.2, 1.026388, 45.282, 397.541),
    (0.8, 0.968625, -53.840, 278.594),
    (1.5, 1.059634, 102.333, 466.001),
    (2.0, 1.104090, 178.619, 557.545),
]


@pytest.mark.parametrize("row", SIMPLE, ids=lambda r: f"p{r[0]}")
def test_a_8abc_reference_simple_wave(row):
    x, u, propagation = gr.simple_wave(row[0], A0)
    assert x == pytest.approx(row[1], abs=5.1e-7)
    assert (u, propagation) == pytest.approx(row[2:], abs=5.1e-4)


def test_a_8d_head_on_waves_by_the_riemann_solver():
    # Two uniform simple-wave states meet: both outgoing waves are fans or weak compressions on one
    # isentrope. Against the isentropic superposition; 1.2 into 0.8 makes one shock of strength
    # 0.8 -> 0.9656, whose entropy rise moves p by less than 1e-3.
    states = []
    for ratio, sign in ((1.2, 1), (0.8, -1)):
        x, u, _ = gr.simple_wave(ratio, A0)
        p = ratio * 1e5
        states += [1.4 * p / (x * A0) ** 2, sign * u, p]
    star = riemann.star_state(*states, 1.4)
    assert star.pressure / 1e5 == pytest.approx(0.965610, rel=1e-3)
    assert star.velocity == pytest.approx(99.122, rel=1e-3)
    left = math.sqrt(1.4 * star.pressure / star.density_left)
    assert left / A0 == pytest.approx(0.995013, rel=1e-4)


def test_a_8efg_reference_ends():
    for ratio, p in ((1.2, 1.43335), (1.5, 2.20059), (2.0, 3.75767), (0.8, 0.63531)):
        assert gr.closed_end_pressure(ratio) == pytest.approx(p, abs=5.1e-6)
    for ratio, p, mach in ((1.2, 0.829280, 0.26388), (1.5, 0.650247, 0.59634)):
        assert gr.open_end_reflection(ratio) == pytest.approx(p, abs=5.1e-7)
        assert gr.open_end_outflow_mach(ratio) == pytest.approx(mach, abs=5.1e-6)
    rows = ((0.9, 1.09453, 0.98642, 0.13990), (0.8, 1.17857, 0.94783, 0.27774))
    for ratio, *expected in (*rows, (0.7, 1.25182, 0.88645, 0.41856)):
        assert gr.bell_inflow(ratio) == pytest.approx(expected, abs=5.1e-6)
    assert gr.open_end_outflow_mach(1.948717) == pytest.approx(1.0, abs=1e-6)
