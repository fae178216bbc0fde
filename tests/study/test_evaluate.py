"""Cases on demand: each is run once, and depends on nothing but itself."""

from __future__ import annotations

import json
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from breathe.engine.parts import Operating
from breathe.engine.read import read_engine
from breathe.study.evaluate import Evaluator, Point

SINGLE = Path(__file__).parents[2] / "engines" / "single_400.toml"


def test_a_case_is_run_once_whatever_runs_it() -> None:
    engine = read_engine(SINGLE)
    points = [Point(s, Operating(speed_rpm=8000.0)) for s in engine.settings[:2]]
    told: list[str] = []
    first = Evaluator(engine, on_done=lambda job, row: told.append(job.key))
    rows = first([*points, points[0]])
    assert first.runs == 2 and len(told) == 2 and rows[0] is rows[2]
    with ThreadPoolExecutor(1) as pool:
        assert json.dumps(Evaluator(engine, executor=pool)(points[::-1])) == json.dumps(rows[1::-1])
    again = Evaluator(engine, known=first.rows)
    assert again(points) == rows[:2] and again.runs == 0
