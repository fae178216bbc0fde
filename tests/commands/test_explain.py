"""breathe explain on the supplied engines."""

from __future__ import annotations

import pytest

from tests.commands.conftest import ENGINES, SLEEVE

SUPPLIED = sorted(ENGINES.glob("*.toml"))


@pytest.mark.parametrize("path", SUPPLIED, ids=lambda path: path.stem)
@pytest.mark.parametrize("units", ["metric", "imperial"])
def test_supplied_engines_are_explained_in_80_columns(breathe, path, units):
    answer = breathe("explain", path, "--units", units)
    assert answer.status == 0 and answer.err == ""
    lines = answer.out.splitlines()
    assert max(map(len, lines)) <= 80, [line for line in lines if len(line) > 80]
    for words in ("Pipes", "Events at 0.1 mm (0.004 in)", "Events at 1.27 mm (0.050 in)",
                  "lobe separation", "eff. CR", "cranking", "NOT CHECKED"):  # fmt: skip
        assert words in answer.out


def test_assumptions_carry_value_reason_and_source(breathe, tmp_path):
    path = tmp_path / "few.toml"
    path.write_text(
        '[engine]\nname = "few"\ncylinders = 4\nbore = "80.26 mm"\nstroke = "89 mm"\n'
        'compression_ratio = 9.0\n[intake.valve]\nhead_diameter = "41 mm"\n'
        '[exhaust.valve]\nhead_diameter = "35 mm"\n[intake.cam]\nopens = "20 BTDC"\n'
        'closes = "60 ABDC"\nlift = "9.16 mm"\n[exhaust.cam]\nopens = "60 BBDC"\n'
        'closes = "20 ATDC"\nlift = "9.16 mm"\n',
        encoding="utf-8",
    )
    answer = breathe("explain", path)
    assert answer.status == 0
    told = " ".join(answer.out.split())
    assert "Assumed for you:" in told and "common practice, no source:" in told
    assert "engine.rod = " in told


def test_one_setting_of_many(breathe):
    answer = breathe("explain", SLEEVE, "--settings", "240")
    assert answer.status == 0 and "288°" not in answer.out


def test_faults_of_a_file_come_all_at_once(breathe, tmp_path):
    path = tmp_path / "bad.toml"
    text = SLEEVE.read_text(encoding="utf-8")
    path.write_text(
        text.replace("bore =", "boer =").replace("stroke =", "strok ="), encoding="utf-8"
    )
    answer = breathe("explain", path)
    assert answer.status == 2 and answer.out == ""
    assert "boer" in answer.err and "strok" in answer.err
