"""breathe explain on the supplied engines."""

from __future__ import annotations

import re

import pandas as pd
import pytest

from breathe.cycle.layout import Resolution
from breathe.cycle.result import simulate
from breathe.engine.parts import Operating
from breathe.engine.read import read_engine
from breathe.study.describe import about
from breathe.valvetrain.dwell import case
from breathe.view.console import Grid
from breathe.view.tables import comparison
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


METRIC = re.compile(r"\d (?:mm|cc|l|cm2|bar|mbar|kPa|degC|K|N|N/mm|Nm|kW|m/s|g|kg)(?![\w/])|mm x")
BOTH = re.compile(r"[\d.]+ mm \([\d.]+ in\)")
"""Checking heights are told in both."""


@pytest.mark.parametrize("path", SUPPLIED, ids=lambda path: path.stem)
def test_imperial_pages_hold_no_metric_figure(breathe, simulation, path):
    told = " ".join(breathe("explain", path, "--units", "imperial").out.split())
    # Sources are quoted as published; water per dry air is a ratio.
    told = re.sub(r"Physical Review.*?from memory", "", told).replace("g water per kg", "")
    cards = r"cam card: .*?; lift"
    found = METRIC.findall(BOTH.sub("", re.sub(cards, "", told)))
    assert found == []
    speeds = ("--speeds", "3000:4000:500")
    told = breathe("compare", path, *speeds, "--units", "imperial").out
    assert METRIC.findall(told) == []


@pytest.mark.parametrize("path", SUPPLIED, ids=lambda path: path.stem)
def test_a_run_and_explain_print_one_effective_ratio(breathe, path):
    engine = read_engine(path)
    explained = breathe("explain", path).out
    rows = table_below(explained, "eff. CR")
    # The ratio stands before the cranking pressure, which is 'low to high'.
    by_label = {row.split("  ")[0]: row.split(" to ")[0].split()[-2] for row in rows}
    told = about(engine, engine.settings, [3000.0], 1.0)
    found = [
        simulate(
            case(engine, setting, Operating(speed_rpm=3000.0)),
            resolution=Resolution(0.05, 0.1),
            limit=1,
        )[0].row()
        for setting in engine.settings
    ]
    (grid,) = [
        piece
        for piece in comparison(pd.DataFrame(found), told, ("cr",))
        if isinstance(piece, Grid) and piece.title.startswith("Effective")
    ]
    assert by_label == dict(zip(grid.header[1:], grid.rows[0][1:], strict=True))


def table_below(text: str, heading: str) -> list[str]:
    lines = text.splitlines()
    start = next(place for place, line in enumerate(lines) if heading in line) + 1
    stop = next(place for place in range(start, len(lines)) if " to " not in lines[place])
    return lines[start:stop]


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


# 0.52 at 0.100 in falling to 0.38 at 0.450 in, air near 1.2 kg/m3 (recomputed: C = Q / (2 pi d L
# sqrt(2 dp / rho)), two intake valves of 34 mm).
@pytest.mark.parametrize("units", ["metric", "imperial"])
def test_a_flow_sheet_is_shown_row_by_row(breathe, tmp_path, units):
    sheet = "28 inH2O;both valves\nlift in;in cfm;ex cfm\n"
    sheet += ".1;64.1;52.3\n.2;121.8;97\n.3;171.5;131.2\n.4;203;148.9\n.45;212.2;153.4\n"
    (tmp_path / "head.csv").write_text(sheet, encoding="utf-8")
    path = tmp_path / "own.toml"
    text = SLEEVE.read_text(encoding="utf-8")
    path.write_text(
        text.replace("[exhaust.valve]", '[intake.valve.flow]\nfile = "head.csv"\n[exhaust.valve]'),
        encoding="utf-8",
    )
    answer = breathe("explain", path.name, "--units", units)  # a long path is never folded
    assert answer.status == 0 and max(map(len, answer.out.splitlines())) <= 80
    lines = [line.split() for line in answer.out.splitlines()]
    assert ["2.54", "0.100", "64.1", "0.52"] in lines
    assert ["11.43", "0.450", "212.2", "0.38"] in lines
    assert ["above", "above", "-", "0.38", "held"] in lines
    told = " ".join(answer.out.split())
    assert "lift mm lift in flow cfm coefficient" in told
    assert "Flow bench, intake: head.csv, coefficient on curtain area of 2 valves" in told
    assert "Flow bench, exhaust" not in told
    assert "then `breathe compare` with both files, or `breathe try`" in told
    assumed = told[told.index("Assumed for you") : told.index("Notes ")]
    assert "head.csv" not in assumed and "intake.valve.flow.file" not in assumed
    assert "intake head.csv: test pressure 28 inH2O" in told[told.index("Notes ") :]


def test_without_a_flow_sheet_no_table_of_it(breathe):
    assert "Flow bench" not in breathe("explain", SLEEVE).out
