"""A small engine file to break in one place at a time."""

from __future__ import annotations

import pytest

from breathe.engine.findings import EngineFileError
from breathe.engine.read import read_engine

SLEEVE_FOUR = """
[engine]
cylinders = 4
bore = "86 mm"
stroke = "86 mm"
class = "fast road 4V"
standard = "264°"
[intake.valve]
count = 2
head_diameter = "34 mm"
[exhaust.valve]
head_diameter = "29.5 mm"
[intake.cam]
duration = "228 deg crank"
checking_height = "0.10 mm"
lift = "9.5 mm"
opens = "22 BTDC"
[intake.sleeve]
travel = "12.0 mm"
rate = "5.0 deg crank/mm"
hold = "opening"
[[setting]]
label = "264°"
intake.duration = "264 deg crank"
"""


@pytest.fixture
def sleeve_four() -> str:
    return SLEEVE_FOUR


@pytest.fixture
def read_text(tmp_path, monkeypatch):
    """Reads an engine from text; the file is called ``mine.toml``."""
    monkeypatch.chdir(tmp_path)

    def read(text: str):
        (tmp_path / "mine.toml").write_text(text, encoding="utf-8")
        return read_engine("mine.toml")

    return read


@pytest.fixture
def faults_of(read_text):
    """The faults of an engine file that has some."""

    def faults(text: str) -> list[str]:
        with pytest.raises(EngineFileError) as refusal:
            read_text(text)
        assert str(refusal.value).splitlines()[1:] == [f"  {f}" for f in refusal.value.faults]
        return refusal.value.faults

    return faults
