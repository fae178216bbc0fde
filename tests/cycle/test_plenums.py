"""The cycle without pipes: balances, settling, options, and how it fails."""

from __future__ import annotations

import math

import numpy as np
import pytest

from breathe.cycle.plenum_gas import cylinder_gas
from breathe.cycle.plenum_rates import area_at
from breathe.cycle.plenums import PlenumCycle, run_plenums, watch_peak
from breathe.gas.mixture import mixture_hot
from tests.cycle.plenum_engine import sine_valve, small_engine

POINTS = [(1000, 0.4), (2000, 1.0), (6000, 1.0), (12000, 1.0)]


@pytest.mark.parametrize(("speed", "bar"), POINTS)
@pytest.mark.parametrize("frozen", [True, False])
@pytest.mark.parametrize("returns", [True, False])
def test_mass_and_energy_close_over_the_settled_cycle(speed, bar, frozen, returns) -> None:
    case = small_engine(speed, bar, frozen)._replace(returns=returns)
    cycle = run_plenums(case, 1e-6, 1e-5)
    assert cycle.settled
    assert abs(cycle.mass_closure) < 1e-10
    assert abs(cycle.energy_closure) < 1e-5


@pytest.mark.parametrize(("speed", "bar"), POINTS)
def test_default_tolerance_against_a_tight_one(speed: int, bar: float) -> None:
    case = small_engine(speed, bar, frozen=False)
    quick, tight = run_plenums(case), run_plenums(case, 1e-7, 1e-6)
    assert quick.volumetric_efficiency == pytest.approx(tight.volumetric_efficiency, abs=2e-4)
    assert quick.imep_net == pytest.approx(tight.imep_net, rel=4e-4)
    assert quick.peak_pressure == pytest.approx(tight.peak_pressure, rel=1e-3)


def test_mean_pressures_add_up() -> None:
    cycle = run_plenums(small_engine(6000, 1.0))
    assert cycle.imep_gross + cycle.pmep == pytest.approx(cycle.imep_net)
    assert cycle.pmep < 0 < cycle.heat


def test_the_same_case_gives_the_same_bits() -> None:
    case = small_engine(6000, 1.0)
    assert run_plenums(case) == run_plenums(case)


def test_returned_gas_changes_what_is_trapped_at_low_speed() -> None:
    """At part load exhaust runs into the intake at overlap; drawn in again it is residual."""
    lost = run_plenums(small_engine(1000, 0.4), 1e-6, 1e-5)
    kept = run_plenums(small_engine(1000, 0.4)._replace(returns=True), 1e-6, 1e-5)
    assert kept.settled
    assert kept.residual > lost.residual + 0.01
    assert kept.volumetric_efficiency < lost.volumetric_efficiency - 0.01


def test_without_fire_no_work_is_won() -> None:
    case = small_engine(3000, 1.0)
    cycle = run_plenums(case._replace(fire=case.fire._replace(completeness=0.0)))
    assert cycle.settled
    assert cycle.imep_net < 0


def test_not_settling_is_said() -> None:
    cycle = run_plenums(small_engine(6000, 1.0), 1e-4, 1e-9, cycles_max=2)
    assert not cycle.settled
    assert not cycle.failed
    assert cycle.cycles == 2
    assert cycle.change > 1e-9


def test_failure_is_said_and_leaves_no_figures() -> None:
    case = small_engine(6000, 1.0)
    cycle = run_plenums(case._replace(heat_multiplier=math.nan))
    assert cycle.failed
    assert not cycle.settled
    assert math.isnan(cycle.volumetric_efficiency)
    assert isinstance(cycle, PlenumCycle)


def test_burn_before_closing_is_refused() -> None:
    case = small_engine(6000, 1.0)
    with pytest.raises(ValueError, match="before the intake valve closes"):
        run_plenums(case._replace(fire=case.fire._replace(start_deg=-140.0)))


@pytest.mark.parametrize("T", [400.0, 1499.0, 1600.0, 2300.0, 2900.0])
@pytest.mark.parametrize("x", [0.0, 0.04, 0.7, 1.0])
def test_cylinder_gas_meets_its_own_equation_of_state(T: float, x: float) -> None:
    charge = small_engine(6000, 1.0).charge
    mass, V = 2e-4, 3e-5
    gas = cylinder_gas(charge, False, mass, T, x, V)
    u, R, *_ = mixture_hot(T, gas.pressure, x, charge)
    assert gas.pressure * V == pytest.approx(mass * R * T, rel=2e-6)
    assert gas.u == pytest.approx(u, abs=10.0)  # 10 J/kg of 2.8 MJ/kg


def test_area_is_interpolated_round_the_cycle() -> None:
    areas = np.zeros((4, 2880))
    areas[1] = sine_valve(2, 0.024, 0.008, 650.0, 890.0).forward
    for angle in (0.0, 0.1, 719.9, 700.125, 60.0):
        across = area_at(areas, 1, angle)
        assert across == pytest.approx(area_at(areas, 1, angle + 720.0), abs=1e-15)
        assert across > 0
    assert area_at(areas, 1, 300.0) == 0.0
    middle = area_at(areas, 1, 660.125)
    ends = area_at(areas, 1, 660.0), area_at(areas, 1, 660.25)
    assert middle == pytest.approx(sum(ends) / 2)


def test_peak_is_the_top_of_the_parabola() -> None:
    peak = np.zeros(6)
    for angle in (1.0, 2.5, 6.0, 11.0, 14.0):
        watch_peak(peak, 50.0 - (angle - 7.0) ** 2, angle)
    assert peak[:2] == pytest.approx([50.0, 7.0])
