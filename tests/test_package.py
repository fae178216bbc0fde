"""The public face, as the README shows it."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import breathe

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


def test_an_unknown_setting_is_named() -> None:
    engine = breathe.read_engine(ENGINE)
    with pytest.raises(ValueError, match="no setting '999'"):
        breathe.trace(engine, "999", 5000)
