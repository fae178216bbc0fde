"""Follower geometry, rollers and line contact against values from outside the project."""

from __future__ import annotations

import math

import numpy as np
import pytest

from breathe.engine.mechanics import Follower
from breathe.valvetrain.contact import (
    base_circle_needed_m,
    contact_geometry,
    contact_modulus_Pa,
    entrainment_zeros_deg,
    face_radius_needed_m,
    hertz_half_width_m,
    hertz_pressure_Pa,
    hertz_shear,
)
from breathe.valvetrain.laws import LAWS
from breathe.valvetrain.motion import Motion, per_cam_deg

PI = math.pi


def flank(name: str, lift_mm: float, cam_deg: float) -> Motion:
    """A rise by a law, exactly."""
    x, law = np.linspace(0.0, 1.0, 20_001), LAWS[name]
    lift, width = lift_mm * 1e-3, 2 * cam_deg
    return Motion(
        angle_deg=width * x,
        lift_m=lift * law.displacement(x),
        velocity_m_per_deg=lift / width * law.velocity(x),
        acceleration_m_per_deg2=lift / width**2 * law.acceleration(x),
        jerk_m_per_deg3=lift / width**3 * law.jerk(x),
    )


def cam_motion(cam_rad, lift_m, velocity_per_rad, acceleration_per_rad2) -> Motion:
    """Motion from derivatives per radian of the cam."""
    crank = 360.0 / PI
    return Motion(
        angle_deg=crank * cam_rad,
        lift_m=lift_m,
        velocity_m_per_deg=velocity_per_rad / crank,
        acceleration_m_per_deg2=acceleration_per_rad2 / crank**2,
        jerk_m_per_deg3=np.zeros_like(cam_rad),
    )


def flat(base_mm: float, diameter_mm: float | None = None) -> Follower:
    return Follower(
        kind="flat tappet",
        base_circle_radius_m=base_mm * 1e-3,
        contact_width_m=0.012,
        face_diameter_m=None if diameter_mm is None else diameter_mm * 1e-3,
    )


def roller(base_mm: float, radius_mm: float, offset_mm: float = 0.0) -> Follower:
    return Follower(
        kind="roller",
        base_circle_radius_m=base_mm * 1e-3,
        contact_width_m=0.012,
        roller_radius_m=radius_mm * 1e-3,
        offset_m=offset_mm * 1e-3,
    )


# B-3a: a circle of 20 mm turning about a point 5 mm off its centre (exact).
def test_b3a_eccentric_circle():
    theta = np.linspace(0.0, 2 * PI, 721)
    lift, slope, bend = 5 - 5 * np.cos(theta), 5 * np.sin(theta), 5 * np.cos(theta)
    found = contact_geometry(cam_motion(theta, lift * 1e-3, slope * 1e-3, bend * 1e-3), flat(15))
    assert found.lobe_radius_m == pytest.approx(0.020, rel=1e-12)
    assert found.offset_m == pytest.approx(5e-3 * np.sin(theta), abs=1e-15)


# B-3b to B-3d (recomputed): base circle for a least radius of 3 mm, and half-width of the face.
FLATS = [
    ("cycloidal", 8, 70, -26.4277, 29.428, 13.096),
    ("cycloidal", 10, 60, -48.2270, 51.227, 19.099),
    ("cycloidal", 10, 75, -27.6139, 30.614, 15.279),
    ("3-4-5", 8, 70, -23.5010, 26.501, 12.278),
    ("3-4-5", 10, 60, -43.3369, 46.337, 17.905),
    ("3-4-5", 10, 75, -24.3949, 27.395, 14.324),
]


@pytest.mark.parametrize(("name", "lift", "angle", "least", "base", "face"), FLATS)
def test_b3bcd_base_circle_and_face_for_a_flat_follower(name, lift, angle, least, base, face):
    rise = flank(name, lift, angle)
    assert base_circle_needed_m(rise, 0.0) * 1e3 == pytest.approx(-least, abs=5e-5)
    assert base_circle_needed_m(rise, 0.003) * 1e3 == pytest.approx(base, abs=5e-4)
    found = contact_geometry(rise, flat(base))
    assert face_radius_needed_m(found) * 1e3 == pytest.approx(face, abs=5e-4)
    assert found.lobe_radius_m.min() * 1e3 == pytest.approx(3.0, abs=5e-4)
    assert not found.undercut.any()
    assert contact_geometry(rise, flat(base - 3.01)).undercut.any()


# B-3e: the tappet's radius limits velocity; inch sizes as tuners quote them, and 26 and 33 mm
# (recomputed: radius per cam degree).
@pytest.mark.parametrize(
    ("diameter", "limit"),
    [(0.842, 0.0073478), (0.875, 0.0076358), (0.904, 0.0078889), (26, 0.22689), (33, 0.28798)],
)
def test_b3e_velocity_that_runs_off_a_tappet(diameter, limit):
    crank = np.array([0.0, 1.0])
    at_limit = Motion(
        angle_deg=crank,
        lift_m=np.zeros(2),
        velocity_m_per_deg=np.full(2, limit / 2),
        acceleration_m_per_deg2=np.zeros(2),
        jerk_m_per_deg3=np.zeros(2),
    )
    assert per_cam_deg(limit / 2, 1) == limit
    found = face_radius_needed_m(contact_geometry(at_limit, flat(15)))
    assert found == pytest.approx(diameter / 2, rel=2e-5)


def three_arcs() -> tuple[Motion, float]:
    """B-3f: base 15, nose 4, lift 9 mm, half action 65 cam deg; and the flank's angle [rad]."""
    base, nose, lift, action = 15.0, 4.0, 9.0, math.radians(65)
    apart = base + lift - nose
    radius = (base**2 - nose**2 + apart**2 - 2 * base * apart * math.cos(action)) / (
        2 * (base - nose - apart * math.cos(action))
    )
    assert apart == 20.0
    assert radius == pytest.approx(69.75667, abs=5e-6)
    # The common normal of flank and nose arc is the line through their centres.
    turn = math.asin(apart * math.sin(action) / (radius - nose))
    on_flank, on_nose = np.linspace(0, turn, 400), np.linspace(turn, action, 400)
    reach, swing = radius - base, action - on_nose
    rise = cam_motion(
        np.concatenate([on_flank, on_nose]),
        np.concatenate([reach * (1 - np.cos(on_flank)), nose - base + apart * np.cos(swing)]) / 1e3,
        np.concatenate([reach * np.sin(on_flank), apart * np.sin(swing)]) / 1e3,
        np.concatenate([reach * np.cos(on_flank), -apart * np.cos(swing)]) / 1e3,
    )
    return rise, turn


# B-3f (from memory; recomputed both ways): the geometry must find the arcs it was drawn with.
def test_b3f_three_arc_lobe():
    rise, turn = three_arcs()
    assert math.degrees(turn) == pytest.approx(16.00105, abs=5e-6)
    assert rise.lift_m[[399, 400]] * 1e3 == pytest.approx([2.121458] * 2, abs=5e-7)
    velocity = rise.velocity_m_per_deg[[399, 400]]
    assert velocity * 360 / PI * 1e3 == pytest.approx([15.09395] * 2, abs=5e-6)
    assert per_cam_deg(velocity, 1) * 1e3 == pytest.approx([0.263439] * 2, abs=5e-7)
    acceleration = rise.acceleration_m_per_deg2[[0, 399, 400, 799]]
    wanted = [54.75667, 52.63521, -13.12146, -20.0]
    assert acceleration * (360 / PI) ** 2 * 1e3 == pytest.approx(wanted, abs=5e-6)
    per_deg2 = per_cam_deg(acceleration[[0, 3]], 2) * 1e3
    assert per_deg2 == pytest.approx([0.016680, -0.0060923], abs=5e-7)
    found = contact_geometry(rise, flat(15))
    assert found.lobe_radius_m[:400] * 1e3 == pytest.approx(69.75667, abs=5e-6)
    assert found.lobe_radius_m[400:] * 1e3 == pytest.approx(4.0, abs=1e-9)


# The same arcs under a roller: a lobe's radius does not depend on what rides on it. The roller
# touches flank and nose at other cam angles, so its lift is drawn here from the arcs' centres.
@pytest.mark.parametrize("offset_mm", [0.0, 2.5])
def test_b3f_arcs_under_a_roller(offset_mm):
    apart, nose, roll = 20.0, 4.0, 9.0
    theta = np.linspace(-0.2, 0.2, 4001)  # the nose's centre swings past the line of motion
    side = apart * np.sin(theta) - offset_mm
    reach = nose + roll
    height = apart * np.cos(theta) + np.sqrt(reach**2 - side**2)
    lift = height - math.sqrt((15 + roll) ** 2 - offset_mm**2)
    slope = np.gradient(height, theta, edge_order=2)
    bend = np.gradient(slope, theta, edge_order=2)
    found = contact_geometry(
        cam_motion(theta, lift * 1e-3, slope * 1e-3, bend * 1e-3), roller(15, roll, -offset_mm)
    )
    assert found.lobe_radius_m[3:-3] * 1e3 == pytest.approx(4.0, abs=1e-3)


# B-3g, a paper on lubrication of automotive cams citing Muller, 1966, and Naylor, 1967 (read):
# a nose radius of 13.7 for 6 mm, base and lift together 27.4 mm, cuts stress by 34 % and brings
# entrainment to zero.
def test_b3g_nose_radius_stress_and_entrainment():
    height = np.full(2, 0.0274)
    speeds, pressures = [], []
    for radius in (0.006, 0.0137):
        nose = cam_motion(np.array([0.0, 0.1]), height - 0.018, np.zeros(2), radius - height)
        found = contact_geometry(nose, flat(18))
        speeds.append(found.entrainment_m_per_rad[0])
        pressures.append(hertz_pressure_Pa(500.0, 0.012, found.reduced_radius_m[0], 113.7e9))
    assert speeds[0] == pytest.approx((2 * 0.006 - 0.0274) / 2)
    assert speeds[1] == pytest.approx(0.0, abs=1e-12)
    assert 1 - pressures[1] / pressures[0] == pytest.approx(0.338, abs=5e-4)


# B-3g: without dwell entrainment passes zero twice in an event, with dwell four times.
def test_b3g_dwell_doubles_the_zeros_of_entrainment():
    rise, _ = three_arcs()
    fall = cam_motion(
        2 * math.radians(65) - rise.angle_deg[::-1] * PI / 360,
        rise.lift_m[::-1],
        -rise.velocity_m_per_deg[::-1] * 360 / PI,
        rise.acceleration_m_per_deg2[::-1] * (360 / PI) ** 2,
    )

    def joined(dwell_deg: float) -> Motion:
        top = np.array([0.0, dwell_deg])
        return Motion(
            angle_deg=np.concatenate([rise.angle_deg, 130 + top, fall.angle_deg + dwell_deg]),
            lift_m=np.concatenate([rise.lift_m, np.full(2, 0.009), fall.lift_m]),
            velocity_m_per_deg=np.concatenate(
                [rise.velocity_m_per_deg, np.zeros(2), fall.velocity_m_per_deg]
            ),
            acceleration_m_per_deg2=np.concatenate(
                [
                    rise.acceleration_m_per_deg2,
                    np.zeros(2) if dwell_deg else rise.acceleration_m_per_deg2[[-1, -1]],
                    fall.acceleration_m_per_deg2,
                ]
            ),
            jerk_m_per_deg3=np.zeros(1602),
        )

    assert len(entrainment_zeros_deg(contact_geometry(joined(0.0), flat(15)))) == 2
    with_dwell = contact_geometry(joined(40.0), flat(15))
    assert len(entrainment_zeros_deg(with_dwell)) == 4
    assert with_dwell.lobe_radius_m[800] == pytest.approx(0.024)
    assert with_dwell.entrainment_m_per_rad[800] == pytest.approx(0.024 / 2)


# B-4a: pitch radius 25 mm, cycloid of 10 mm in 90 cam deg (formulas from memory; recomputed).
def test_b4a_roller():
    rise = flank("cycloidal", 10, 90)
    found = contact_geometry(rise, roller(15, 10))
    most = int(found.pressure_angle_deg.argmax())
    assert found.pressure_angle_deg[most] == pytest.approx(23.2330, abs=5e-5)
    assert rise.angle_deg[most] / 2 == pytest.approx(41.94, abs=0.005)
    pitch = found.lobe_radius_m + 0.010
    assert pitch[pitch > 0].min() * 1e3 == pytest.approx(19.7123, abs=5e-5)
    moved = contact_geometry(rise, roller(15, 10, 3))
    assert moved.pressure_angle_deg.max() == pytest.approx(18.2249, abs=5e-5)


# B-4b: 0.310 in at the lobe with a rocker of 1.6 is 0.496 in at the valve (read, a cam-terms
# sheet).
def test_b4b_rocker():
    at_valve = flank("3-4-5", 0.496 * 25.4, 70)
    lobe = at_valve.at_lobe(1.6)
    assert lobe.lift_m.max() / 0.0254 == pytest.approx(0.310, rel=1e-12)
    for name in ("velocity_m_per_deg", "acceleration_m_per_deg2", "jerk_m_per_deg3"):
        assert getattr(lobe, name) * 1.6 == pytest.approx(getattr(at_valve, name))


steel_on_steel = contact_modulus_Pa(207e9, 0.30, 207e9, 0.30)
steel_on_iron = contact_modulus_Pa(207e9, 0.30, 130e9, 0.27)


# B-5: Mechanical Engineer's Data Handbook, p. 52 (formula read; recomputed). Force N, length,
# reduced radius, E* MPa; half-width mm, peak pressure MPa.
LINES = [
    (1000, 10, 10, steel_on_steel, 0.105805, 601.69),
    (1200, 12, 5, steel_on_steel, 0.07482, 850.92),
    (2000, 12, 1 / (1 / 10 + 1 / 9), steel_on_steel, 0.09401, 1128.64),
    (1000, 10, 10, steel_on_iron, 0.12115, 525.48),
]


@pytest.mark.parametrize(("force", "length", "radius", "modulus", "half", "peak"), LINES)
def test_b5_line_contact(force, length, radius, modulus, half, peak):
    given = (force, length * 1e-3, radius * 1e-3, modulus)
    assert hertz_half_width_m(*given) * 1e3 == pytest.approx(half, abs=5e-6)
    assert hertz_pressure_Pa(*given) / 1e6 == pytest.approx(peak, abs=5e-3)
    # The handbook's other form: full width w = sqrt(32 F (1-n^2) r / (pi L E)), peak 4F/(pi w L).
    width = 2 * half * 1e-3
    assert 4 * force / (PI * width * length * 1e-3) / 1e6 == pytest.approx(peak, rel=1e-4)


def test_b5_moduli_and_short_forms():
    assert steel_on_steel / 1e6 == pytest.approx(113736.3, abs=0.05)
    assert steel_on_iron / 1e6 == pytest.approx(86747.8, abs=0.05)
    # p0 = 190.27 sqrt(W/(L R)) steel on steel, 166 steel on iron, N and mm.
    assert hertz_pressure_Pa(1.0, 1e-3, 1e-3, steel_on_steel) / 1e6 == pytest.approx(
        190.27, abs=5e-3
    )
    assert hertz_pressure_Pa(1.0, 1e-3, 1e-3, steel_on_iron) / 1e6 == pytest.approx(166, abs=0.5)
    assert hertz_shear(1000e6, 0.1e-3) == pytest.approx((300.3e6, 0.07861e-3))
