"""The equilibrium solver: conservation, thermodynamics, and cantera as an outside solver."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from breathe.gas import fuels
from breathe.gas import mixture as gas
from breathe.gas.composition import burned_composition, fresh_composition
from breathe.gas.equilibrium import (
    ELEMENTS,
    N_SPECIES,
    REACTING,
    cold_guess,
    eliminate,
    equilibrate,
    reacting_data,
    shifting_properties,
    standard_state,
)
from breathe.gas.make_species import NAMES
from breathe.gas.species import atoms

ATOMS, NASA = reacting_data()
compiled = settings(deadline=None, max_examples=150)
names = st.sampled_from(sorted(gas.FUELS))
strengths = st.floats(0.3, 1.8)
temperatures = st.floats(1200.0, 3400.0)
log_pressures = st.floats(math.log(0.15e5), math.log(200e5))


def fresh_gas(name, phi):
    fuel = fuels.find_fuel(name)
    fuel_mass = phi / fuels.stoichiometric_afr(fuel)
    return fresh_composition(fuel, fuel_mass / (1 + fuel_mass), 1 / (1 + fuel_mass), 0.0)


def solve(fresh, T, log_p, guess=None):
    """Log moles, iterations, and the six properties."""
    h, g, cp = np.empty((3, N_SPECIES))
    standard_state(T, NASA, h, g, cp)
    log_n = np.empty(N_SPECIES + 1)
    if guess is None:
        cold_guess(log_n)
    else:
        log_n[:] = guess
    elements = np.array([atoms(fresh, e) for e in ELEMENTS])
    iterations = equilibrate(log_p, g, ATOMS, elements, fresh["Ar"], log_n)
    return log_n, iterations, shifting_properties(T, h, cp, ATOMS, fresh["Ar"], log_n)


@compiled
@given(names, strengths, temperatures, log_pressures)
def test_atoms_are_kept_and_reactions_balance(name, phi, T, log_p):
    fresh = fresh_gas(name, phi)
    log_n, iterations, _ = solve(fresh, T, log_p)
    assert 0 < iterations < 60
    n = np.exp(log_n[:N_SPECIES])
    elements = [atoms(fresh, e) for e in ELEMENTS]
    assert n @ ATOMS == pytest.approx(elements, rel=1e-10)
    assert n.sum() + fresh["Ar"] == pytest.approx(math.exp(log_n[-1]), rel=1e-10)
    # mu of CO + 1/2 O2 equals mu of CO2, and so on for every reaction.
    h, g, cp = np.empty((3, N_SPECIES))
    standard_state(T, NASA, h, g, cp)
    mu = dict(zip(REACTING, g + log_n[:-1] - log_n[-1] + log_p - math.log(101325.0), strict=True))
    assert mu["CO"] + mu["O2"] / 2 == pytest.approx(mu["CO2"], abs=1e-6)
    assert mu["CO"] + mu["H2O"] == pytest.approx(mu["CO2"] + mu["H2"], abs=1e-6)
    assert mu["N2"] + mu["O2"] == pytest.approx(2 * mu["NO"], abs=1e-6)
    assert mu["O2"] == pytest.approx(2 * mu["O"], abs=1e-6)
    assert mu["H2"] == pytest.approx(2 * mu["H"], abs=1e-6)
    assert mu["O"] + mu["H"] == pytest.approx(mu["OH"], abs=1e-6)
    assert mu["N2"] == pytest.approx(2 * mu["N"], abs=1e-6)


@compiled
@given(names, strengths, temperatures, log_pressures)
def test_second_law_links_energy_and_gas_constant(name, phi, T, log_p):
    """(du/d ln p)_T = -T^2 (dR/dT)_p - T (dR/d ln p)_T, from dh = T ds + v dp."""
    _, _, (_, _, _, R_T, u_p, R_p) = solve(fresh_gas(name, phi), T, log_p)
    assert u_p == pytest.approx(-T * T * R_T - T * R_p, rel=1e-6, abs=1e-4)


@compiled
@given(names, strengths, temperatures, log_pressures)
def test_slopes_are_those_of_the_solution(name, phi, T, log_p):
    fresh, dT, dl = fresh_gas(name, phi), 0.5, 2e-3
    if abs(T - 1000.0) < 1.0:
        return
    guess, _, (_, _, u_T, R_T, u_p, R_p) = solve(fresh, T, log_p)
    up, down = solve(fresh, T + dT, log_p, guess)[2], solve(fresh, T - dT, log_p, guess)[2]
    more, less = solve(fresh, T, log_p + dl, guess)[2], solve(fresh, T, log_p - dl, guess)[2]
    assert u_T == pytest.approx((up[0] - down[0]) / (2 * dT), rel=1e-5)
    assert pytest.approx((up[1] - down[1]) / (2 * dT), rel=1e-4, abs=1e-7) == R_T
    assert u_p == pytest.approx((more[0] - less[0]) / (2 * dl), rel=1e-4, abs=0.01)
    assert R_p == pytest.approx((more[1] - less[1]) / (2 * dl), rel=1e-4, abs=1e-6)


def test_answer_does_not_depend_on_the_guess():
    fresh = fresh_gas("gasoline", 1.1)
    cold, _, _ = solve(fresh, 2200.0, math.log(30e5))
    far, _, _ = solve(fresh, 3300.0, math.log(0.2e5))
    warm, _, _ = solve(fresh, 2200.0, math.log(30e5), guess=far)
    assert warm == pytest.approx(cold, abs=1e-9)


def test_failure_is_flagged():
    h, g, cp = np.empty((3, N_SPECIES))
    standard_state(2000.0, NASA, h, g, cp)
    log_n = np.full(N_SPECIES + 1, np.nan)
    assert equilibrate(0.0, g, ATOMS, np.ones(4), 0.0, log_n) == -1


def test_elimination_against_numpy():
    rng = np.random.default_rng(7)
    for _ in range(20):
        m, rhs = rng.normal(size=(5, 5)), rng.normal(size=5)
        m[0, 0] = 0.0  # a pivot must be found elsewhere
        expected, found = np.linalg.solve(m, rhs), rhs.copy()
        eliminate(m.copy(), found)
        assert found == pytest.approx(expected, rel=1e-8)


@pytest.mark.parametrize(("name", "phi"), [("gasoline", 0.7), ("gasoline", 1.0), ("E85", 1.3)])
def test_against_cantera(name, phi):
    """Same species data, another solver: cantera's own Gibbs minimisation."""
    ct = pytest.importorskip("cantera")
    library = {s.name: s for s in ct.Species.list_from_file("nasa_gas.yaml")}
    species = [library[NAMES[n]] for n in (*REACTING, "Ar")]
    reference = ct.Solution(thermo="ideal-gas", species=species)
    fresh = fresh_gas(name, phi)
    start = {NAMES[n]: moles for n, moles in burned_composition(fresh).items()}
    for T in np.linspace(1250.0, 3400.0, 12):
        for p in np.geomspace(0.15e5, 200e5, 8):
            reference.TPX = T, p, start
            reference.equilibrate("TP", rtol=1e-12)
            _, _, (u, R, *_) = solve(fresh, T, math.log(p))
            # cantera stops at its own rounding; 0.02 J/kg is 1e-8 of the heat of combustion.
            assert u == pytest.approx(reference.int_energy_mass, abs=0.02)
            assert pytest.approx(ct.gas_constant / reference.mean_molecular_weight, rel=1e-8) == R
