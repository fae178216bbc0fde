"""The public face, as the README shows it."""

from __future__ import annotations

import re
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import breathe
from breathe.engine.parts import Engine
from breathe.study.compare import Job

ENGINE = Path(__file__).parents[1] / "engines" / "single_400.toml"


def test_importing_the_package_loads_nothing_heavy() -> None:
    heavy = "{'numpy', 'scipy', 'pandas', 'numba', 'cantera', 'rich', 'click'}"
    code = f"import sys, breathe; print(sorted({heavy} & set(sys.modules)))"
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "[]"


def test_an_unknown_name_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="no attribute 'optimise'"):
        _ = breathe.optimise


def test_readme_example() -> None:
    engine = breathe.read_engine(ENGINE)
    study = breathe.compare(engine, speeds_rpm=[8500], settings=engine.settings[:2])
    assert list(study.table["setting"]) == [s.label for s in engine.settings[:2]]
    assert (study.table["torque_Nm"] > 0).all()
    cycle = breathe.trace(engine, engine.settings[0].label, 8500)
    assert cycle.trace is not None
    pressure = cycle.trace.cylinder_pressure_Pa
    assert pressure.shape == (1, 720)
    # The traced peak is the tallied one, to the degree it is sampled at.
    assert np.max(pressure) == pytest.approx(cycle.peak_pressure_Pa, rel=0.01)


def test_dir_shows_the_public_face_and_nothing_else() -> None:
    assert dir(breathe) == [
        "BreatheError",
        "__version__",
        "best",
        "check",
        "compare",
        "reach",
        "read_engine",
        "trace",
    ]
    for name in dir(breathe):
        assert getattr(breathe, name) is not None


@pytest.mark.parametrize("name", ["best", "check", "compare", "reach", "trace", "read_engine"])
def test_public_docstrings_name_parameters_results_and_errors(name: str) -> None:
    text = getattr(breathe, name).__doc__
    for section in ("Parameters\n", "Returns\n", "Raises\n"):
        assert section in text


@pytest.fixture(scope="module")
def engine() -> Engine:
    return breathe.read_engine(ENGINE)


@pytest.fixture
def rows(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is simulated."""

    def run_cases(jobs: Sequence[Job], **_: Any) -> dict[str, Any]:
        return {job.key: {"setting": job.label, "speed_rpm": job.speed_rpm} for job in jobs}

    monkeypatch.setattr("breathe.study.compare.run_cases", run_cases)


def test_settings_may_be_labels_as_on_the_command_line(engine: Engine, rows: None) -> None:
    study = breathe.compare(engine, [5000], ["240", "250", "260°", engine.settings[0], "240°"])
    assert list(study.table["setting"]) == ["240°", "250°", "260°", "220°"]
    assert study.settings[1].intake_travel_m == pytest.approx(0.006)  # 30 of 80 deg in 16 mm
    assert list(breathe.compare(engine, [5000], "240, std").table["setting"]) == ["240°", "std"]


def test_each_speed_is_run_once(engine: Engine, rows: None) -> None:
    assert breathe.compare(engine, [5000, 3000.0, 5000]).speeds_rpm == (5000.0, 3000.0)


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        ({"speeds_rpm": [0]}, "speed in rpm: found 0; expected a number from 100 to 25000"),
        ({"speeds_rpm": [float("nan")]}, "speed in rpm: found nan"),
        ({"speeds_rpm": ["fast"]}, "speed in rpm: found 'fast'"),
        ({"speeds_rpm": []}, "speeds_rpm: found none; expected engine speeds in rpm"),
        ({"speeds_rpm": 3000}, "speeds_rpm: found 3000; expected engine speeds"),
        ({"speeds_rpm": "3000"}, "speeds_rpm: found '3000'; expected engine speeds"),
        ({"settings": []}, "settings: found none; expected some of: 220°"),
        ({"settings": [240]}, "settings: found 240; expected labels such as '220°'"),
        ({"settings": ["stt"]}, "settings: found 'stt'; did you mean 'std'?"),
        ({"settings": ["310"]}, "settings: 310° needs 18.0 mm of sleeve travel"),
        ({"throttle": 0.0}, "throttle: found 0.0; expected a share"),
        ({"throttle": "half"}, "throttle: found 'half'; expected a share"),
        ({"threads": 0}, "threads: found 0; expected 1 or more"),
    ],
)
def test_what_cannot_be_meant_is_one_clear_error(
    engine: Engine, rows: None, arguments: dict[str, Any], told: str
) -> None:
    with pytest.raises(breathe.BreatheError, match=f"^{re.escape(told)}"):
        breathe.compare(engine, **arguments)


def test_two_settings_of_one_label_are_refused(engine: Engine, rows: None) -> None:
    other = replace(engine.settings[0], intake_shift_deg=5.0)
    with pytest.raises(breathe.BreatheError, match="two different ones are called '220°'"):
        breathe.compare(engine, [5000], [engine.settings[0], other])


def test_a_trace_of_what_cannot_be_is_refused(engine: Engine) -> None:
    with pytest.raises(breathe.BreatheError, match=r"^setting: 999° needs|^setting: found '999'"):
        breathe.trace(engine, "999", 5000)
    with pytest.raises(breathe.BreatheError, match=r"^speed in rpm: found 0"):
        breathe.trace(engine, "std", 0)
    beyond = replace(engine.settings[0], intake_travel_m=0.5)
    with pytest.raises(breathe.BreatheError, match=r"needs 500\.0 mm, the sleeve has 16\.0 mm"):
        breathe.trace(engine, beyond, 5000)
