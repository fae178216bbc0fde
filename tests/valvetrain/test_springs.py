"""Springs: how rate, stress and surge scale, and what harmonics of the lift mean."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from breathe.engine.mechanics import Spring
from breathe.engine.parts import Cam, Sleeve
from breathe.valvetrain.dwell import event
from breathe.valvetrain.lobe import lobe_from_card
from breathe.valvetrain.springs import (
    bergstraesser_factor,
    coil_bind_margin_m,
    coil_mass_kg,
    lift_harmonics_m,
    shear_stress_Pa,
    spring_force_N,
    spring_rate_N_per_m,
    surge_frequency_Hz,
    surge_number,
    surge_speeds,
    wahl_factor,
)
from breathe.valvetrain.timing import lift_area_m_deg

CARD, _ = lobe_from_card(264, 0.1e-3, 9.5e-3, second=(232, 1.0e-3))
SLEEVE = Sleeve(travel_max_m=0.012, crank_deg_per_m=5000.0, closing_share=0.5)
CAM = Cam(lobe=CARD, centreline_deg=110.0, lash_m=0.2e-3, sleeve=SLEEVE)
wires, coils, turns = st.floats(2e-3, 6e-3), st.floats(15e-3, 45e-3), st.floats(3, 10)


@given(wire=wires, coil=coils, turns=turns, k=st.floats(0.5, 2))
def test_scaling_of_the_coil(wire, coil, turns, k):
    rate = spring_rate_N_per_m(wire, coil, turns)
    assert spring_rate_N_per_m(k * wire, coil, turns) == pytest.approx(k**4 * rate)
    assert spring_rate_N_per_m(wire, k * coil, turns) == pytest.approx(rate / k**3)
    assert spring_rate_N_per_m(wire, coil, k * turns) == pytest.approx(rate / k)
    surge = surge_frequency_Hz(rate, coil_mass_kg(wire, coil, turns))
    larger = [k * wire, k * coil, turns]
    grown = surge_frequency_Hz(spring_rate_N_per_m(*larger), coil_mass_kg(*larger))
    assert grown * k == pytest.approx(surge)
    assert shear_stress_Pa(500 * k**2, k * wire, k * coil) == pytest.approx(
        shear_stress_Pa(500, wire, coil)
    )


@given(index=st.floats(4, 16))
def test_both_curvature_factors_agree(index):
    assert bergstraesser_factor(index) == pytest.approx(wahl_factor(index), rel=0.015)
    assert wahl_factor(index) > wahl_factor(index + 1) > 1


def test_force_and_bind():
    spring = Spring(seat_load_N=250, installed_height_m=0.034, rate_N_per_m=32e3)
    assert spring_force_N(spring, np.array([0.0, 0.001])) == pytest.approx([250, 282])
    assert coil_bind_margin_m(spring, 0.0095) is None
    tight = replace(spring, coil_bind_height_m=0.025)
    assert coil_bind_margin_m(tight, 0.0095) == pytest.approx(-0.0005)


@given(travel=st.floats(0, 0.012), shift=st.floats(-50, 50))
def test_a_phaser_changes_no_harmonic(travel, shift):
    still = event(CAM, travel_m=travel, side="intake")
    moved = event(CAM, travel_m=travel, shift_deg=shift, side="intake")
    a, b = lift_harmonics_m(still, 20), lift_harmonics_m(moved, 20)
    # 2e-8 m: the corner where lash is taken up falls between grid points.
    assert a == pytest.approx(b, abs=2e-8)
    assert a[0] == pytest.approx(lift_area_m_deg(still) / 720)


@given(surge=st.floats(200, 800), fastest=st.floats(4000, 12000))
def test_surge_speeds_lie_in_the_range_and_keep_time(surge, fastest):
    lift = event(CAM, side="intake")
    found = surge_speeds(lift, surge, fastest / 2, fastest)
    assert all(fastest / 2 <= s.speed_rpm * (1 + 1e-9) for s in found)
    assert all(s.speed_rpm <= fastest * (1 + 1e-9) for s in found)
    assert [s.harmonic for s in found] == sorted({s.harmonic for s in found})
    for s in found:
        assert surge_number(surge, s.speed_rpm) == pytest.approx(s.harmonic)


def test_a_narrow_range_may_hold_no_surge_speed():
    assert surge_speeds(event(CAM, side="intake"), 400.0, 5400, 5900) == ()
