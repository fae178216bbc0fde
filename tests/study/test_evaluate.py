"""Cases on demand: each is run once, and depends on nothing but itself."""

from __future__ import annotations

import json
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest

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


class AtOnce(Executor):
    """Has done what it is given before it is asked for."""

    def submit(self, work: Any, /, *things: Any, **named: Any) -> Future[Any]:
        done: Future[Any] = Future()
        done.set_result(work(*things, **named))
        return done


def test_what_is_done_when_a_search_is_stopped_is_kept() -> None:
    engine = read_engine(SINGLE)
    points = [Point(engine.settings[0], Operating(speed_rpm=rpm)) for rpm in (8000.0, 9000.0)]
    told: list[str] = []

    def stop_at_first(job: Any, row: Any) -> None:
        told.append(job.key)
        if len(told) == 1:
            raise KeyboardInterrupt

    ask = Evaluator(engine, executor=AtOnce(), on_done=stop_at_first)
    with pytest.raises(KeyboardInterrupt):
        ask(points)
    assert len(ask.rows) == 2 and len(set(told)) == 2
