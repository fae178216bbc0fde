"""Properties of blends: what must hold for any fuel, mixture strength and state."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from breathe.gas import fuels
from breathe.gas import mixture as gas
from breathe.gas.burned_table import EQUILIBRIUM_K, FREEZE_K, LAST_K
from breathe.gas.composition import burned_composition, fresh_composition
from breathe.gas.species import all_species, atoms, mass

names = st.sampled_from(sorted(gas.FUELS))
# Few distinct strengths, since each costs a table.
strengths = st.sampled_from([0.0, 0.6, 0.95, 1.0, 1.05, 1.3, 2.0])
fractions = st.floats(0.0, 1.0)
pressures = st.floats(math.log(0.2e5), math.log(190e5)).map(math.exp)
# The first kernel call compiles.
compiled = settings(deadline=None, max_examples=200)


def fresh_of(name, phi, humidity=0.01):
    c = gas.charge(name, phi, humidity)
    fuel = fuels.find_fuel(name)
    return fresh_composition(fuel, c.fuel_fraction, c.air_fraction, humidity * c.air_fraction)


@compiled
@given(names, st.floats(0.0, 2.0))
def test_burning_keeps_every_atom(name, phi):
    fresh = fresh_composition(fuels.find_fuel(name), 0.07 * phi, 0.92, 0.01)
    burned = burned_composition(fresh)
    for element in ("C", "H", "O", "N", "Ar"):
        assert atoms(burned, element) == pytest.approx(atoms(fresh, element), abs=1e-11)
    assert mass(burned) == pytest.approx(mass(fresh), rel=1e-12)
    assert min(burned.values()) >= 0.0


@compiled
@given(names, strengths)
def test_fractions_and_moles_agree_with_the_composition(name, phi):
    c = gas.charge(name, phi, 0.01)
    fresh = fresh_of(name, phi)
    assert c.air_fraction * 1.01 + c.fuel_fraction == pytest.approx(1.0, rel=1e-14)
    assert mass(fresh) == pytest.approx(1.0, rel=1e-12)
    assert c.fuel_fraction * c.stoichiometric_afr == pytest.approx(phi * c.air_fraction, rel=1e-12)
    assert c.fresh_R == pytest.approx(8.31446261815324 * c.fresh_moles, rel=1e-14)
    assert c.burned_R == pytest.approx(8.31446261815324 * c.burned_moles, rel=1e-14)


@pytest.mark.parametrize("name", sorted(gas.FUELS))
@pytest.mark.parametrize("phi", [0.5, 0.9, 1.0])
def test_burning_releases_the_heating_value(name, phi):
    """Enthalpy fresh less burned at 298.15 K is the fuel's share times its heating value."""
    c = gas.charge(name, phi, 0.01)
    released = gas.enthalpy(298.15, c.fresh) - gas.enthalpy(298.15, c.burned)
    assert released == pytest.approx(c.fuel_fraction * c.fuel_heat, rel=1e-9)


@pytest.mark.parametrize("phi", [1.1, 1.2, 1.5])
def test_rich_charge_leaves_the_heat_of_monoxide_and_hydrogen(phi):
    c, burned = gas.charge("gasoline", phi), burned_composition(fresh_of("gasoline", phi, 0.0))
    released = gas.enthalpy(298.15, c.fresh) - gas.enthalpy(298.15, c.burned)
    left = c.fuel_fraction * c.fuel_heat - released
    # Heats of combustion at 298.15 K, water as vapour: CO 282.98, H2 241.83 kJ/mol (NIST-JANAF
    # Thermochemical Tables, 1998, heats of formation, from memory).
    assert left == pytest.approx(282.98e3 * burned["CO"] + 241.83e3 * burned["H2"], rel=1e-4)


def test_air_burns_to_itself():
    for humidity in (0.0, 0.02):
        air = gas.air(humidity)
        assert air.equivalence_ratio == 0.0
        assert air.burned == pytest.approx(air.fresh, rel=1e-12)
        assert air.burned_R == pytest.approx(air.fresh_R, rel=1e-14)
        assert air.fuel_fraction == 0.0


def test_moist_air_is_lighter():
    dry, moist = gas.air(0.0), gas.air(0.02)
    water_R = 8.31446261815324 / all_species()["H2O"].molar_mass
    assert moist.fresh_R == pytest.approx((dry.fresh_R + 0.02 * water_R) / 1.02, rel=1e-12)


def test_a_charge_is_made_once():
    assert gas.charge("E85", 0.9, 0.01) is gas.charge("E85", 0.9, 0.01)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("gasolin", 1.0), "unknown fuel 'gasolin'; did you mean 'gasoline'? Supplied: gasoline,"),
        (("e85", 1.0), "unknown fuel 'e85'; did you mean 'E85'?"),
        (("coal", 1.0), "unknown fuel 'coal'; Supplied: gasoline, iso-octane,"),
        (("E10", 2.5), "equivalence_ratio: found 2.5; expected a number from 0 to 2"),
        (("E10", math.nan), "equivalence_ratio: found nan; expected a number from 0 to 2"),
        (("E10", 1.0, -0.01), "humidity_kg_per_kg: found -0.01; expected a number from 0 to 0.1"),
    ],
)
def test_bad_input_is_named(arguments, message):
    with pytest.raises(ValueError) as caught:
        gas.charge(*arguments)
    assert message in str(caught.value)


@compiled
@given(names, strengths, fractions, st.floats(210.0, 2990.0))
def test_cv_is_the_slope_of_u(name, phi, x, T):
    c, step = gas.charge(name, phi, 0.01), 0.5
    if abs(T - 1000.0) < 1.0:
        return  # the two polynomials meet here with slightly different slopes
    rise = gas.blend_u_cv(T + step, x, c)[0] - gas.blend_u_cv(T - step, x, c)[0]
    assert gas.blend_u_cv(T, x, c)[1] == pytest.approx(rise / (2 * step), rel=2e-6)


@compiled
@given(names, strengths, fractions, st.floats(210.0, 2990.0))
def test_blend_is_what_its_parts_are(name, phi, x, T):
    c = gas.charge(name, phi, 0.01)
    fresh = gas.internal_energy(T, c.fresh, c.fresh_R)
    burned = gas.internal_energy(T, c.burned, c.burned_R)
    cv = (1 - x) * (gas.heat_capacity(T, c.fresh) - c.fresh_R)
    cv += x * (gas.heat_capacity(T, c.burned) - c.burned_R)
    assert gas.blend_u_cv(T, x, c) == pytest.approx(((1 - x) * fresh + x * burned, cv), rel=1e-10)
    moles = x * c.burned_moles / ((1 - x) * c.fresh_moles + x * c.burned_moles)
    assert gas.burned_mole_fraction(x, c) == pytest.approx(moles, rel=1e-12)


@compiled
@given(names, strengths, st.floats(250.0, 2900.0), st.floats(1.01, 1.5))
def test_entropy_is_heat_over_temperature(name, phi, T, growth):
    """s0(T2) - s0(T1) against the trapezium of cp dT / T."""
    c, n = gas.charge(name, phi, 0.01), 200
    log_step = math.log(growth) / n
    cp = [gas.heat_capacity(T * math.exp(i * log_step), c.fresh) for i in range(n + 1)]
    integral = log_step * (sum(cp) - 0.5 * (cp[0] + cp[-1]))
    found = gas.entropy0(T * growth, c.fresh) - gas.entropy0(T, c.fresh)
    # 1e-5: second-order rule, and the step in cp where the polynomials meet.
    assert found == pytest.approx(integral, rel=1e-5)


@compiled
@given(names, strengths, fractions, st.floats(200.0, 3000.0), st.floats(150.0, 4000.0))
def test_temperature_comes_back_from_energy(name, phi, x, T, guess):
    c = gas.charge(name, phi, 0.01)
    u, _ = gas.blend_u_cv(T, x, c)
    # The data's own step in u at 1000 K is a few mJ/kg to J/kg, worth up to 0.5 mK.
    tolerance = 1e-6 if abs(T - 1000.0) < 0.01 else 1e-9
    assert gas.temperature_from_u(u, x, c, guess) == pytest.approx(T, rel=tolerance)


def test_impossible_energy_gives_nan():
    c = gas.charge("gasoline", 1.0)
    assert math.isnan(gas.temperature_from_u(-9e7, 0.5, c, 300.0))
    assert math.isnan(gas.temperature_from_u(math.nan, 0.5, c, 300.0))
    assert math.isnan(gas.state_from_u_v(-9e7, 0.5, 0.5, c, 300.0, 1e5)[0])
    assert math.isnan(gas.state_from_u_v(math.nan, 0.5, 0.5, c, 1800.0, 1e5)[1])


@compiled
@given(names, strengths, fractions, st.floats(250.0, 3300.0), pressures)
def test_state_comes_back_from_energy_and_volume(name, phi, x, T, p):
    c = gas.charge(name, phi, 0.01)
    u, R, *_ = gas.mixture_hot(T, p, x, c)
    v = R * T / p
    for guess_T, guess_p in ((T + 100, p * 1.3), (T - 60, p * 0.8), (2500.0, 3 * p), (300.0, 1e5)):
        found = gas.state_from_u_v(u, v, x, c, guess_T, guess_p)
        assert found == pytest.approx((T, p), rel=1e-6 if abs(T - 1000.0) < 0.01 else 2e-9)


@compiled
@given(names, strengths, fractions, st.floats(250.0, LAST_K - 1.0), pressures)
def test_slopes_are_those_of_u_and_R(name, phi, x, T, p):
    c, dT, dl = gas.charge(name, phi, 0.01), 0.05, 1e-3
    if abs(T - 1000.0) < 1.0:
        return
    _, _, u_T, R_T, u_p, R_p = gas.mixture_hot(T, p, x, c)
    up, down = gas.mixture_hot(T + dT, p, x, c), gas.mixture_hot(T - dT, p, x, c)
    more = gas.mixture_hot(T, p * math.exp(dl), x, c)
    less = gas.mixture_hot(T, p * math.exp(-dl), x, c)
    # Curvature jumps at nodes, at FREEZE_K and at the table's edge: within one step of them the
    # difference quotient is off by a quarter of step times jump.
    assert u_T == pytest.approx((up[0] - down[0]) / (2 * dT), rel=1e-4)
    assert pytest.approx((up[1] - down[1]) / (2 * dT), abs=2e-5) == R_T
    assert u_p == pytest.approx((more[0] - less[0]) / (2 * dl), abs=30.0)
    assert R_p == pytest.approx((more[1] - less[1]) / (2 * dl), abs=1e-3)


@compiled
@given(names, strengths, pressures)
def test_hot_gas_has_no_steps(name, phi, p):
    """u, R and their slopes pass smoothly where frozen gas, table and its continuation meet."""
    c = gas.charge(name, phi, 0.01)
    for T in (FREEZE_K, EQUILIBRIUM_K, LAST_K, 2500.0):
        below, above = gas.burned_hot(T - 1e-7, p, c), gas.burned_hot(T + 1e-7, p, c)
        scale = (1e6, 290.0, 1e3, 1.0, 1e4, 1.0)
        for one, other, unit in zip(below, above, scale, strict=True):
            assert abs(one - other) < 1e-6 * unit


def test_edges_in_pressure_hold_the_composition():
    c = gas.charge("gasoline", 1.0)
    for inside, outside in ((0.15e5, 0.05e5), (200e5, 400e5)):
        at_edge, beyond = gas.burned_hot(2800.0, inside, c), gas.burned_hot(2800.0, outside, c)
        assert beyond[:4] == pytest.approx(at_edge[:4], rel=1e-9)
        assert beyond[4:] == (0.0, 0.0)


def test_nan_state_gives_nan_not_a_wild_read():
    c = gas.charge("gasoline", 1.0)
    assert math.isnan(gas.mixture_hot(math.nan, 1e5, 0.5, c)[0])
    assert math.isnan(gas.mixture_hot(2000.0, math.nan, 0.5, c)[0])


@compiled
@given(names, strengths, st.floats(EQUILIBRIUM_K + 5, LAST_K - 5), pressures)
def test_equilibrium_gas_obeys_the_second_law(name, phi, T, p):
    """(du/d ln p)_T = -T^2 (dR/dT)_p - T (dR/d ln p)_T, from dh = T ds + v dp."""
    _, _, _, R_T, u_p, R_p = gas.burned_hot(T, p, gas.charge(name, phi, 0.01))
    # The table keeps it at its nodes; between them within its error.
    assert u_p == pytest.approx(-T * T * R_T - T * R_p, rel=2e-3, abs=15.0)
