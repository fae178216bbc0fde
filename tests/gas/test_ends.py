"""The end solver over its whole range: mass is the same on both sides, and nothing breaks."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from breathe.gas.ends import end_state, sonic_inflow
from breathe.gas.nozzle import mass_flow

R = 287.0
gammas = st.floats(1.25, 1.4)
pressures = st.floats(3e4, 8e5)
temperatures = st.floats(280.0, 2000.0)


@settings(max_examples=500)
@given(
    gammas, gammas, st.floats(-0.7, 0.7), pressures, temperatures, pressures, temperatures,
    st.floats(0.01, 1.0),
)  # fmt: skip
def test_what_leaves_the_pipe_passes_the_opening(
    gamma: float, gamma_v: float, mach: float, p: float, t: float, p_v: float, t_v: float, a: float
) -> None:
    sound = math.sqrt(gamma * R * t)
    cp_v = gamma_v / (gamma_v - 1) * R
    z, u, direction = end_state(mach, sound, gamma, p, a, a, (p_v, gamma_v, cp_v * t_v))
    end_p, end_t = p * z ** (2 * gamma / (gamma - 1)), t * z * z
    if direction > 0:
        still_t = end_t + u * u * (gamma - 1) / (2 * gamma * R)
        still_p = end_p * (still_t / end_t) ** (gamma / (gamma - 1))
        pipe = end_p / (R * end_t) * u
        opening = mass_flow(a, still_p, still_t, min(p_v, still_p), R, gamma)
    elif direction < 0:
        end_t = t_v - u * u / (2 * cp_v)
        pipe = -end_p / (R * end_t) * u
        opening = mass_flow(a, p_v, t_v, end_p, R, gamma_v)
    else:
        return
    # At the sonic limit of the pipe itself an opening as wide as the pipe no longer counts.
    if direction < 0 or u < 0.999999 * math.sqrt(gamma * R * end_t):
        assert pipe == pytest.approx(opening, rel=1e-5, abs=1e-7 * p / math.sqrt(R * t))


@given(gammas, pressures, temperatures, st.floats(0.01, 1.0))
def test_inflow_at_the_speed_of_sound_carries_the_choked_flow(
    gamma: float, p: float, t: float, share: float
) -> None:
    cp = gamma / (gamma - 1) * R
    end_p, u, end_t = sonic_inflow(share, p, cp * t, gamma, R)
    assert -u == pytest.approx(math.sqrt(gamma * R * end_t), rel=1e-12)
    assert cp * end_t + 0.5 * u * u == pytest.approx(cp * t, rel=1e-12)
    assert -end_p / (R * end_t) * u == pytest.approx(
        mass_flow(share, p, t, 0.0, R, gamma), rel=1e-9
    )


@given(
    gammas, st.floats(-30.0, 30.0), st.floats(1e3, 1e7), st.floats(1e3, 1e7),
    st.floats(0.0, 1.0), st.floats(0.0, 1.0),
)  # fmt: skip
def test_no_state_arriving_breaks_the_end(
    gamma: float, mach: float, p: float, p_v: float, out: float, into: float
) -> None:
    z, u, _ = end_state(mach, 500.0, gamma, p, out, into, (p_v, 1.33, 4e5))
    assert math.isfinite(z)
    assert z > 0.0
    assert math.isfinite(u)


def test_a_shut_end_stops_the_gas() -> None:
    z, u, direction = end_state(0.1, 340.0, 1.4, 1e5, 0.0, 0.0, (3e5, 1.4, 3e5))
    # Simple wave brought to rest: c rises by (gamma - 1) / 2 of the velocity.
    assert (z, u, direction) == (pytest.approx(1.02), 0.0, 0)
