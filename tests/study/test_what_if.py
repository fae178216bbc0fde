"""A row becomes the engine that the same change by hand in the file would give."""

from __future__ import annotations

from pathlib import Path

import pytest

from breathe.engine.read import read_engine
from breathe.study.fingerprint import fingerprint
from breathe.study.plans.cam import RowFault, centreline
from breathe.study.plans.notes import plan_notes
from breathe.study.plans.sheet import read_plan
from breathe.study.plans.what_if import (
    Base,
    Built,
    base_of,
    build,
    jobs_of,
    kept_value,
)
from breathe.valvetrain.dwell import event

ENGINES = Path(__file__).parents[2] / "engines"
SINGLE, ROAD = ENGINES / "single_400.toml", ENGINES / "road_four.toml"


def base(file: Path = SINGLE, label: str | None = None) -> Base:
    return base_of(file, label, lambda _: (5000.0, 8000.0), 1.0)


def built(folder: Path, text: str, start: Base | None = None) -> Built:
    path = folder / "plan.csv"
    path.write_text(text, encoding="utf-8")
    start = start or base()
    plan = read_plan(path, start.raw)
    assert not plan.refused, plan.refused
    return build(start, plan, plan.rows[0])


def by_hand(folder: Path, *changes: tuple[str, str]) -> str:
    return fingerprint(read_engine(hand(folder, *changes)))


def hand(folder: Path, *changes: tuple[str, str]) -> Path:
    text = SINGLE.read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    path = folder / "hand.toml"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("column", "cell", "old", "new"),
    [
        ("CR", "10.5", "compression_ratio = 11.8", "compression_ratio = 10.5"),
        ("bore [in]", "3.4", 'bore = "88 mm"', 'bore = "3.4 in"'),
        ("header [mm]", "700", 'length = "830 mm"', 'length = "700 mm"'),
        ("airbox [l]", "8", 'volume = "6 l"', 'volume = "8 l"'),
        ("octane", "95", "octane = 98", "octane = 95"),
        (
            "runner [mm]",
            "300",
            'stations = ["0 mm", "60 mm", "150 mm"]',
            'stations = ["0 mm", "120 mm", "300 mm"]',
        ),
        (
            "intake.cam.centreline",
            "110",
            'opens = "6 BTDC"\ncloses = "34 ABDC"',
            'centreline = "110 ATDC"',
        ),
        ("barometer [mbar]", "950", 'pressure = "1013 mbar"', 'pressure = "950 mbar"'),
    ],
)
def test_a_cell_is_the_same_change_in_the_file(
    tmp_path: Path, column: str, cell: str, old: str, new: str
) -> None:
    engine = built(tmp_path, f"{column},name\n{cell},a\n").engine
    assert fingerprint(engine) == by_hand(tmp_path, (old, new))


def test_one_event_of_a_card_leaves_the_other_where_it_is(tmp_path: Path) -> None:
    """260 deg about 108 BTDC opens at 58 BBDC; with 30 ATDC that is 268 deg about 104 BTDC."""
    engine = built(tmp_path, "exhaust.cam.closes,CR\n30 ATDC,\n").engine
    card = 'duration = "260 deg crank"', 'duration = "268 deg crank"'
    middle = 'centreline = "108 BTDC"', 'centreline = "104 BTDC"'
    assert fingerprint(engine.exhaust_cam) == fingerprint(
        read_engine(hand(tmp_path, card, middle)).exhaust_cam
    )


def test_blank_cells_and_other_settings(tmp_path: Path) -> None:
    start = base()
    blank = built(tmp_path, "duration,CR\n,11.8\n", start)
    assert fingerprint(blank.engine) == fingerprint(start.engine)
    assert blank.setting.intake_cam is not None  # the file's standard is a swapped cam
    given = built(tmp_path, "duration,CR\n260,\n", start)
    assert given.setting.intake_cam is None
    assert given.setting.intake_travel_m == pytest.approx(8e-3)  # 40 deg at 5 deg/mm
    named = built(tmp_path, "setting,CR\n280,\n", start)
    assert named.setting.intake_travel_m == pytest.approx(12e-3)


@pytest.mark.parametrize("duration", [220, 264, 300])
@pytest.mark.parametrize("wanted", [100, 112])
def test_centreline_is_the_middle_of_the_opening_at_that_duration(
    tmp_path: Path, duration: int, wanted: int
) -> None:
    one = built(tmp_path, f"duration,centreline\n{duration},{wanted}\n")
    assert centreline(one.engine, one.setting, "intake") == pytest.approx(wanted)
    lift = event(
        one.engine.intake_cam,
        travel_m=one.setting.intake_travel_m,
        shift_deg=one.setting.intake_shift_deg,
        side="intake",
    )
    # A card's lobe is alike on both flanks, so the valve opens evenly about that middle.
    assert (lift.opens_deg + lift.closes_deg) / 2 - 360 == pytest.approx(wanted, abs=0.01)


def test_exhaust_centreline_counts_before_overlap(tmp_path: Path) -> None:
    one = built(tmp_path, "ecl,CR\n114,\n")
    assert one.setting.exhaust_shift_deg == pytest.approx(-6.0)  # 108 BTDC moved earlier


def test_duration_without_a_sleeve_grinds_the_lobe_longer(tmp_path: Path) -> None:
    start = base(ROAD)
    card = next(c for c in start.engine.cards if c.side == "intake")
    own = card.closes_deg - card.opens_deg
    one = built(tmp_path, f"duration,CR\n{own * 1.05},\n", start)
    assert one.setting.intake_stretch == pytest.approx(1.05)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("duration,CR\n310,\n", "needs 18.0 mm, the sleeve has 16.0 mm"),
        ("duration,CR\n210,\n", "shorter than the sleeve's 220 deg crank"),
        ("runner diameter [mm],CR\n45,\n", "the file has a taper"),
        ("IVC,duration,IVO\n60,240,20\n", "intake opens, closes and duration say the same"),
        ("IVC,centreline\n60,110\n", "closes beside centreline; give opens and closes, or"),
        ("IVC,CR\n60,\n", "blank duration here is another lobe"),
        ("setting,CR\n999,\n", "sleeve has 16.0 mm|found '999'"),
        ("centreline,shift\n104,4\n", "say the same; give one"),
        ("intake.cam,CR\nhot,\n", 'found "hot"'),
    ],
)
def test_what_the_engine_refuses_is_told(tmp_path: Path, text: str, told: str) -> None:
    with pytest.raises(RowFault, match=told):
        built(tmp_path, text)


def test_equal_rows_are_one_case_and_others_are_not(tmp_path: Path) -> None:
    path = tmp_path / "plan.csv"
    path.write_text("CR,speed,throttle,name\n10,,,a\n10.0,,,b\n10.5,,,c\n10,6000,,d\n10,,50,e\n")
    start = base()
    plan = read_plan(path, start.raw)
    keys = [[job.key for job in jobs_of(start, plan, row, None)] for row in plan.rows]
    assert keys[0] == keys[1] and len(keys[0]) == 2 and len(keys[3]) == 1
    assert len({key for row in keys for key in row}) == 2 + 2 + 1 + 2


def test_what_a_blank_cell_stands_for(tmp_path: Path) -> None:
    path = tmp_path / "plan.csv"
    path.write_text("runner [mm],CR,duration,centreline\n1,,,\n".replace("1,", "200,"))
    for label, duration, middle in (("260", 260.0, 108.0), ("std", None, 106.0)):
        start = base(label=label)
        columns = read_plan(path, start.raw).columns
        kept = [kept_value(start, column.target) for column in columns]
        assert kept[:2] == [pytest.approx(0.150), 11.8]
        assert kept[2] == (duration if duration is None else pytest.approx(duration))
        assert kept[3] == pytest.approx(middle)


@pytest.mark.parametrize(
    "text",
    [
        "IVO,IVC\n30,70\n",
        "IVO (BTDC),IVC (ABDC)\n30,70\n",
        "intake opens,IVC\n30 BTDC,70 ABDC\n",
        "IVO,duration\n30,280\n",
        "IVC,duration\n70,280\n",
        "duration,centreline\n280,110\n",
    ],
)
def test_valve_events_say_a_duration_and_a_centreline(tmp_path: Path, text: str) -> None:
    """280 = 30 + 180 + 70 and 110 = 280/2 - 30: geometry of the valve card."""
    one = built(tmp_path, text)
    assert one.setting.intake_travel_m == pytest.approx(12e-3)  # 60 deg over 220 at 5 deg/mm
    assert centreline(one.engine, one.setting, "intake") == pytest.approx(110)


def test_one_event_leaves_the_other_where_the_cam_has_it(tmp_path: Path) -> None:
    start = base(label="260")
    kept = kept_value(start, read_columns(tmp_path, "IVO,IVC\n1,50\n", start)[0].target)
    one = built(tmp_path, "IVC,CR\n80,\n", start)
    assert isinstance(kept, float)
    middle, duration = centreline(one.engine, one.setting, "intake"), kept + 180 + 80
    assert duration / 2 - middle == pytest.approx(kept)
    assert one.setting.intake_travel_m * 5e3 == pytest.approx(duration - 220)
    late = built(tmp_path, "EVC,EVO\n30,70\n", start)
    assert centreline(late.engine, late.setting, "exhaust") == pytest.approx(110)
    assert late.setting.exhaust_stretch == pytest.approx(280 / 260)


def read_columns(folder: Path, text: str, start: Base):
    path = folder / "columns.csv"
    path.write_text(text, encoding="utf-8")
    return read_plan(path, start.raw).columns


def test_columns_that_change_nothing_are_told(tmp_path: Path) -> None:
    text = "intake.spring.rate,intake.sleeve.splines,limit [rpm],lift [mm],lash [mm],CR\n1,,,,,\n"
    (tmp_path / "plan.csv").write_text(text.replace("\n1,", "\n44,"), encoding="utf-8")
    for label, lost in (("std", True), ("260", False)):
        start = base(label=label)
        told = " / ".join(plan_notes(start, read_plan(tmp_path / "plan.csv", start.raw)))
        assert told.count("changes no figure here: only `breathe check` reads it") == 2
        assert "limit [rpm] changes no figure here: it decides what is run" in told
        assert ("lift [mm]: of the engine's own cam, and std has another lobe" in told) == lost
        assert "lash" not in told and "CR" not in told
