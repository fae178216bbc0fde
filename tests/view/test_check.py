"""The page of a mechanical check: what is said, once, in units, within the page."""

from __future__ import annotations

import csv
import dataclasses
import io

import pytest

from breathe.engine.read import read_engine
from breathe.study.checks.check import check
from breathe.study.checks.line import Line
from breathe.view.check import SECTIONS, check_csv, check_page
from breathe.view.check_figures import limit, quantity, settings_text
from breathe.view.console import show
from tests.story_engine import CENTRE_HELD, ENGINES, write_story

KNOWN = ("228°", "240°", "252°", "264°", "std")


class Paper(io.StringIO):
    """A pipe of a given encoding."""

    def __init__(self, encoding: str = "utf-8") -> None:
        super().__init__()
        self._encoding = encoding

    @property
    def encoding(self) -> str:  # type: ignore[override]
        return self._encoding


def printed(found, sections=SECTIONS, system="metric", encoding="utf-8") -> str:
    paper = Paper(encoding)
    show(check_page(found, sections, system), paper)
    return paper.getvalue()


def words(text: str) -> str:
    return " ".join(text.split())


@pytest.fixture(scope="module")
def story(tmp_path_factory):
    return check(read_engine(write_story(tmp_path_factory.mktemp("story"))))


@pytest.fixture(scope="module")
def centre_held(tmp_path_factory):
    return check(read_engine(write_story(tmp_path_factory.mktemp("story"), *CENTRE_HELD)))


def test_settings_that_agree_are_one_row(story):
    text = printed(story, ("clearance",))
    rows = [line for line in text.splitlines() if line.startswith("228° to 288°")]
    # As set, cam early, cam late; 2.46 is 2.455 rounded, 2.45 in the story.
    assert rows[0].split()[:6] == ["228°", "to", "288°", "2.46", "2.24", "2.77"]
    assert "The same at each travel: the opening point is held" in words(text)
    assert "every" in text  # the exhaust cam never moves


def test_too_close_is_not_to_be_built(centre_held):
    text = words(printed(centre_held))
    assert (
        "288° too close: 1.09 mm as set, 0.85 mm with cam early; at least 2.00 mm: do not build."
        in text
    )
    assert "The same at each travel" not in text
    last = text[text.rindex("Worst:") :]
    assert last.startswith("Worst: too close: intake valve to piston 0.85 mm")
    assert ": do not build." in last


def test_contact_is_told_with_its_depth(tmp_path):
    path = write_story(tmp_path, ('at_tdc = "4.4 mm"', 'at_tdc = "1.5 mm"'))
    text = words(printed(check(read_engine(path), ["228°"])))
    assert (
        "touches: -0.44 mm as set, -0.66 mm with cam early; at least 2.00 mm: do not build." in text
    )


def test_cautions_stand_at_their_results(story):
    text = words(printed(story))
    order = [
        "Intake valve to piston",
        "turn the engine two full turns by hand",
        "Intake springs, one valve",
        "a missed shift goes beyond",
        "compressed springs fly",
        "Intake sleeve, one valve",
        "Failed actuator",
        "What was found",
        "Worst:",
    ]
    places = [text.index(part) for part in order]
    assert places == sorted(places)
    for part in ("gas force on the valve head", "two on one follower double the lobe's"):
        assert part in text


def test_what_is_the_same_everywhere_is_said_once(story):
    text = words(printed(story, ("springs",)))
    assert "the same at every setting, since lift and flanks do not change" in text
    assert text.count("needed at 7500 rpm 534 N at the nose has 554 N little") == 1
    assert "leaves the lobe from 7641 rpm" in text


def test_contrast_stands_side_by_side(story):
    text = words(printed(story, ("contrast",)))
    for part in ("sleeve lobe stretched std", "at 7.2 mm x 1.158 as it stands",
                 "leaves the lobe from 7641 rpm", "nearer to the piston"):  # fmt: skip
        assert part in text


def test_nothing_known_is_not_checked_and_never_sound():
    text = words(printed(check(read_engine(ENGINES / "road_four.toml"))))
    assert "Intake valve to piston: NOT CHECKED (needs [intake.clearance] at_tdc" in text
    assert "Exhaust spring surge: NOT CHECKED (needs [exhaust.spring]" in text
    assert not any(f" {verdict} " in text for verdict in ("clears", "holds", "fits", "usual"))
    assert "is sound" not in text
    assert "Worst: NOT CHECKED (12). Nothing could be judged" in text


@pytest.mark.parametrize("path", sorted(ENGINES.glob("*.toml")), ids=lambda path: path.stem)
@pytest.mark.parametrize("system", ["metric", "imperial"])
@pytest.mark.parametrize("encoding", ["utf-8", "ascii"])
def test_every_page_is_80_columns_and_carried(path, system, encoding):
    text = printed(check(read_engine(path)), system=system, encoding=encoding)
    text.encode(encoding)
    assert max(map(len, text.splitlines())) <= 80
    assert "None" not in text and "nan" not in text.split()


def test_imperial_leaves_no_metric_figures(story):
    text = printed(story, ("clearance", "springs", "contact", "sleeve"), "imperial")
    for unit in (" mm ", " N ", "MPa", "m/s2 ", "Nm "):
        assert unit not in text.replace("ft/s2", ""), unit
    assert "125 lbf" in text and "0.097" in text  # 554 N, 2.46 mm


def test_csv_has_every_line_in_si(story):
    rows = list(csv.DictReader(io.StringIO(check_csv(story))))
    assert len(rows) == len(story.lines)
    first = rows[0]
    assert first["topic"] == "valve to piston" and first["unit"] == "m"
    assert float(first["value"]) == story.lines[0].value
    assert {row["verdict"] for row in rows} >= {"clears", "does not hold", "NOT CHECKED"}


@pytest.mark.parametrize(
    ("labels", "told"),
    [
        (KNOWN, "every"),
        (("228°", "240°", "252°"), "228° to 252°"),
        (("228°", "240°", "264°", "std"), "228°, 240°, 264°, std"),
        (("252°",), "252°"),
        ((), ""),
    ],
)
def test_names_of_settings(labels, told):
    assert settings_text(labels, KNOWN) == told


def test_the_only_setting_is_named():
    assert settings_text(["228°"], ["228°"]) == "228°"


@pytest.mark.parametrize(
    ("value", "unit", "metric", "imperial"),
    [
        # 25.4 mm an inch, 4.448222 N a pound, 6.894757 MPa a ksi: exact or NIST SP 811.
        (2.54e-3, "m", "2.54 mm", "0.100 in"),
        (0.142e-3, "m", "0.142 mm", "0.0056 in"),
        (444.8222, "N", "445 N", "100 lbf"),
        (689.4757e6, "Pa", "689 MPa", "100.0 ksi"),
        (3.048, "m/s2", "3 m/s2", "10 ft/s2"),
        (7500.4, "rpm", "7500 rpm", "7500 rpm"),
    ],
)
def test_figures_and_units(value, unit, metric, imperial):
    assert quantity(value, unit, "metric") == metric
    assert quantity(value, unit, "imperial") == imperial


def test_limits_say_which_way():
    line = Line(topic="spring", item="needed", limit=554.0, limit_is="most", unit="N")
    assert limit(line, "metric") == "has 554 N"
    line = dataclasses.replace(line, unit="m", limit=1e-3, limit_is="least")
    assert limit(line, "metric") == "least 1.00 mm"
    assert limit(dataclasses.replace(line, limit=None), "metric") == ""
