"""Flow-bench practice: check ids A-6 with the source beside each number."""

from __future__ import annotations

import math

import pytest

from breathe.engine.quantities import read_quantity
from breathe.measured.bench import (
    air_density,
    bench_speed,
    isentropic_speed,
    same_flow_at,
    to_isentropic,
)

CFM_PER_SQ_IN = 0.3048**3 / 60 / 0.0254**2
DROP = 6974.49  # A-6a, 28 inH2O of 249.0889 Pa (from memory; recomputed)
ISA_15, ISA_20 = air_density(288.15), air_density(293.15)


def test_a6a_inches_of_water():
    assert read_quantity("28 inH2O", "pressure difference") == pytest.approx(6974, abs=0.5)


# A-6b, A-6c: sqrt(2 dp / rho), "350 ft/s" and "146 cfm/in2" are common practice, no source;
# recomputed.
@pytest.mark.parametrize(
    ("density", "m_s", "cfm_sq_in"),
    [
        (1.225, 106.710, 145.87),
        (air_density(288.706), 106.812, 146.01),
        (ISA_20, 107.631, 147.13),
    ],
)
def test_a6bc_bench_speed(density, m_s, cfm_sq_in):
    speed = bench_speed(DROP, density)
    assert speed == pytest.approx(m_s, abs=1e-3)
    assert speed / CFM_PER_SQ_IN == pytest.approx(cfm_sq_in, abs=0.01)


# A-6e, A-6f: isentropic nozzle drawing from 101325 Pa; recomputed. The second is volume flow at
# the density before the nozzle; the first the speed of the jet, faster by the fall in density.
@pytest.mark.parametrize(
    ("density", "jet_m_s", "cfm_sq_in"), [(ISA_15, 108.067, 140.39), (ISA_20, 109.000, 141.60)]
)
def test_a6ef_isentropic_draw(density, jet_m_s, cfm_sq_in):
    speed = isentropic_speed(DROP, "intake", density)
    assert speed / CFM_PER_SQ_IN == pytest.approx(cfm_sq_in, abs=0.01)
    thinner = ((101_325 - DROP) / 101_325) ** (1 / 1.4)
    assert speed / thinner == pytest.approx(jet_m_s, abs=2e-3)


def test_a6f_a_bench_coefficient_is_divided_by_0_9624():
    assert 1 / to_isentropic(DROP, "intake") == pytest.approx(0.9624, abs=5e-5)


def test_blowing_out_of_a_port_differs_from_drawing_in():
    """Mass flow out of a port held above the room, from the textbook formula in other terms."""
    density, above = 1.2, 101_325 + DROP
    sound = math.sqrt(1.4 * 101_325 / density)  # the blown air has the room's temperature
    mach = math.sqrt(5 * ((above / 101_325) ** (2 / 7) - 1))
    static = 1 / (1 + mach**2 / 5)
    mass_per_area = density / static * mach * sound * math.sqrt(static)
    assert isentropic_speed(DROP, "exhaust", density) == pytest.approx(
        mass_per_area / density, rel=1e-9
    )


def test_both_conventions_meet_at_small_drops():
    for side in ("intake", "exhaust"):
        assert to_isentropic(1.0, side) == pytest.approx(1.0, abs=2e-5)


# A-6g: sqrt(h2 / h1), common practice, no source.
@pytest.mark.parametrize(
    ("before", "after", "factor"),
    [(10, 28, 1.673320), (25, 28, 1.058301), (3, 28, 3.055050), (28, 10, 0.597614)],
)
def test_a6g_another_test_pressure(before, after, factor):
    assert same_flow_at(1.0, before, after) == pytest.approx(factor, abs=1e-6)
