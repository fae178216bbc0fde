"""Gas that goes the wrong way is told by the name of its pipe."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from breathe.cycle.layout import Resolution
from breathe.cycle.result import Cycle, simulate
from breathe.engine.parts import End, Engine, Operating, Outside, Setting
from breathe.engine.read import read_engine
from breathe.valvetrain.dwell import case

ENGINES = Path(__file__).parents[2] / "engines"


@pytest.fixture(scope="module")
def single() -> Engine:
    return read_engine(ENGINES / "single_400.toml")


def run(engine: Engine, rpm: float, throttle: float = 1.0, **moved: float) -> Cycle:
    standard = next(s for s in engine.settings if s.label == "std")
    setting: Setting = replace(standard, **moved)
    ready = case(engine, setting, Operating(speed_rpm=rpm, throttle=throttle))
    return simulate(ready, resolution=Resolution(0.03, 0.06), limit=40)[0]


def second_tailpipe(engine: Engine, pressure_Pa: float) -> Engine:
    """A second way out of the silencer, to a place of its own pressure."""
    tail = next(p for p in engine.pipes if p.name == "tailpipe")
    second = replace(tail, name="second tailpipe", end=End(node="test bench"))
    bench = Outside(name="test bench", pressure_Pa=pressure_Pa, temperature_K=300.0)
    return replace(engine, pipes=(*engine.pipes, second), outsides=(*engine.outsides, bench))


def test_a_pipe_that_flows_the_wrong_way_is_named(single):
    done = run(second_tailpipe(single, 1.3e5), 4000.0)
    assert 'gas flows the wrong way through "second tailpipe"' in done.remark
    assert '"tailpipe"' not in done.remark
    assert "wrong way" not in run(second_tailpipe(single, single.air.pressure_Pa), 4000.0).remark


def test_exhaust_that_comes_back_is_told_with_its_pipe(single):
    thin = tuple(
        o if "exhaust" in o.name else replace(o, pressure_Pa=0.4e5) for o in single.outsides
    )
    done = run(replace(single, outsides=thin), 1500.0)
    assert 'more than 25 % of the exhaust returns out of "exhaust port"' in done.remark


@pytest.mark.parametrize("name", ["single_400", "road_four_sleeve", "pushrod_eight"])
@pytest.mark.parametrize("throttle", [1.0, 0.1])
def test_supplied_engines_flow_as_they_should(name, throttle):
    engine = read_engine(ENGINES / f"{name}.toml")
    remark = run(engine, 0.4 * engine.speed_limit_rpm, throttle).remark
    assert "wrong way" not in remark and "returns" not in remark
