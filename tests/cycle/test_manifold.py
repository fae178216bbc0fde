"""The pressure behind the throttle, as a gauge there would read it."""

from __future__ import annotations

from pathlib import Path

import pytest

from breathe.cycle.result import simulate
from breathe.engine.parts import Operating
from breathe.engine.read import read_engine
from breathe.valvetrain.dwell import case

ENGINES = Path(__file__).parents[2] / "engines"


@pytest.mark.parametrize(("name", "opening"), [("road_four_sleeve", 0.03), ("single_400", 0.01)])
def test_a_throttle_leaves_less_pressure_behind_it(name: str, opening: float) -> None:
    # The four breathes from a plenum; the single's throttle stands between airbox and port.
    engine = read_engine(ENGINES / f"{name}.toml")
    wide, closed = (
        simulate(case(engine, engine.settings[0], Operating(speed_rpm=3000.0, throttle=share)))[0]
        for share in (1.0, opening)
    )
    outside = engine.air.pressure_Pa
    assert wide.manifold_pressure_Pa == pytest.approx(outside, rel=0.03)
    assert closed.manifold_pressure_Pa < 0.7 * outside
    # What the pumping loop loses is about what the manifold lacks (ideal: all of it).
    lost = wide.pmep_Pa - closed.pmep_Pa
    missing = wide.manifold_pressure_Pa - closed.manifold_pressure_Pa
    assert 0.4 * missing < lost < 1.3 * missing
