"""A command line in this process, with INVENTED figures in place of the simulation."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import pytest

from breathe.commands.main import main
from breathe.study.evaluate import Point
from tests.study.invented_engine import InventedEngine

ENGINES = Path(__file__).parents[2] / "engines"
SLEEVE = ENGINES / "road_four_sleeve.toml"


@dataclass
class Answer:
    status: int
    out: str
    err: str


@pytest.fixture
def breathe(capsys, tmp_path, monkeypatch):
    """Run a command line in an empty folder; returns status and both streams."""
    monkeypatch.chdir(tmp_path)

    def run(*arguments: str) -> Answer:
        status = main([str(argument) for argument in arguments])
        out, err = capsys.readouterr()
        assert "Traceback" not in err
        return Answer(status, out, err)

    return run


@dataclass
class Simulation:
    """Stands where the simulation is: counts its cases, may be told to stop or fail."""

    computed: int = 0
    stop_after: float = math.inf
    error: BaseException | None = None

    def run_cases(self, jobs, *, threads, on_done, done):
        for job in jobs:
            if job.key in done:
                continue
            if self.computed >= self.stop_after:
                raise self.error or KeyboardInterrupt
            self.computed += 1
            on_done(job, self.row(job))

    def row(self, job) -> dict:
        longer = job.setting.intake_travel_m * 1e3
        torque = 180 - ((job.speed_rpm - 4000 - 150 * longer) / 500) ** 2
        return {
            "setting": job.label,
            "speed_rpm": job.speed_rpm,
            "throttle": job.operating.throttle,
            "torque_Nm": torque,
            "power_W": torque * job.speed_rpm * math.pi / 30,
            "volumetric_efficiency_ambient": torque / 200,
            "settled": True,
            "remark": "",
        }


@pytest.fixture
def simulation(monkeypatch) -> Simulation:
    import breathe.study.compare

    stand_in = Simulation()
    monkeypatch.setattr(breathe.study.compare, "run_cases", stand_in.run_cases)
    monkeypatch.setattr("breathe.kernel.is_compiled", lambda: True)
    return stand_in


@pytest.fixture
def invented(monkeypatch) -> list[object]:
    """Invented figures where a search asks for cases; every case run is noted."""
    ran: list[object] = []

    def row_of(job):
        ran.append(job.key)
        return InventedEngine(job.engine).row(Point(job.setting, job.operating))

    monkeypatch.setattr("breathe.study.evaluate.row_of", row_of)
    monkeypatch.setattr("breathe.kernel.is_compiled", lambda: True)
    return ran
