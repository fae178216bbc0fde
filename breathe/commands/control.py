"""breathe control: the map an actuator follows over speed and load, and its file."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from breathe.commands.options import Count, Decorated, Opening, runs_option

if TYPE_CHECKING:
    from breathe.engine.parts import Engine, Setting
    from breathe.run import Run, RunError

SHOWN = "map, vacuum, throttle, torque, bmep, fuel, pmep, residual, cr, knock, travel, limits"


OPTIONS: dict[str, dict[str, Any]] = {
    "--speeds": {"metavar": "RPM", "help": "Axis points: first:last:step or a list."},
    "--loads": {"metavar": "LIST", "help": "Axis points of the load, rising."},
    "--axis": {
        "metavar": "WHAT",
        "help": 'What the load axis measures: "bmep bar", "map kPa" or "throttle %".  '
        "[default: of --start, else bmep bar]",
    },
    "--steps": {
        "metavar": "LIST",
        "help": 'Settings a switched cam steps between, such as "low, high".  [default: all of the '
        "file, where nothing slides or turns]",
    },
    "--actuator": {
        "multiple": True,
        "metavar": "AXIS",
        "help": 'What the actuator moves, such as "intake dwell"; given twice, both get maps that '
        "belong together, and --travel, --step, --slew, --hysteresis and --fallback may be given "
        'for each: "intake phase 150 deg/s".  [default: the first sleeve]',
    },
    "--stand": {
        "multiple": True,
        "metavar": "PLACE",
        "help": 'Where another axis stands meanwhile, such as "intake phase -8 deg".  [default: '
        "its shortest, or not turned]",
    },
    "--travel": {
        "multiple": True,
        "metavar": "A:B",
        "help": "Part of the travel to use, such as 0:5.6 mm.",
    },
    "--cells": {
        "type": click.Choice(["duration", "travel"]),
        "default": "duration",
        "show_default": True,
        "help": "What the cells hold: crank degrees, or millimetres of sleeve travel.",
    },
    "--step": {
        "multiple": True,
        "help": "Cells are whole steps of this.  [default: 0.5 deg or 0.1 mm]",
    },
    "--give-up": {
        "type": Opening(),
        "default": 0.005,
        "metavar": "SHARE",
        "help": "Fuel or torque that smoothing may give up in a cell.  [default: 0.5%]",
    },
    "--slew": {
        "multiple": True,
        "help": "Fastest the actuator moves.  [assumed: 40 mm/s, a phaser 100 deg/s]",
    },
    "--hysteresis": {
        "multiple": True,
        "help": "It stays put within this.  [assumed: 1 deg; of steps 150 rpm]",
    },
    "--rev-rate": {
        "type": click.FloatRange(min=100.0),
        "metavar": "RPM/S",
        "help": "How fast the engine revs up.  [assumed: 3000]",
    },
    "--pedal": {
        "metavar": "TIME",
        "help": "Load rises from the lowest row to the highest in this, such as 0.2 s: steps over "
        "load stay within what the actuator follows.  [default: not held]",
    },
    "--residual": {
        "type": Opening(),
        "default": 0.25,
        "metavar": "SHARE",
        "help": "Most burnt gas kept, of the charge by mass.  [default: 25%]",
    },
    "--keep-vacuum": {"metavar": "TEXT", "help": 'Such as "30 kPa below 2 bar" of BMEP.'},
    "--gear-change": {"metavar": "TEXT", "help": 'Such as "6500 to 4700 rpm in 0.3 s".'},
    "--start": {
        "type": click.Path(path_type=Path),
        "metavar": "FILE",
        "help": "Your own map, judged; its axes are taken.",
    },
    "--anchors": {
        "type": click.Path(path_type=Path),
        "metavar": "FILE",
        "help": "Measured settings that stay: rpm, load, setting.",
    },
    "--move-point": {"metavar": "A to B", "help": "Move a speed of the axes, such as 900 to 1000."},
    "--fits": {"metavar": "NxM", "help": "Axis points the controller takes, such as 16x8."},
    "--fallback": {
        "multiple": True,
        "metavar": "SETTING",
        "help": 'Place without power: "228°", "0 mm" or a step.',
    },
    "--write": {
        "multiple": True,
        "type": click.Path(path_type=Path),
        "metavar": "FILE",
        "help": "Write the map: .csv or .json; give it twice for both.",
    },
    "--rows": {
        "type": click.Choice(["load falling", "load rising", "speed falling", "speed rising"]),
        "default": "load falling",
        "show_default": True,
        "help": "What runs down the written table.",
    },
    "--decimal-comma": {"is_flag": True, "help": "CSV with semicolons and decimal commas."},
    "--overwrite": {"is_flag": True, "help": "Write over files that are there."},
    "--egr": {"hidden": True},
    "--show": {"metavar": "LIST", "help": f"Further tables, of: {SHOWN}."},
    "--csv": {"is_flag": True, "help": "Only the tidy table as CSV, in SI units."},
    "--units": {
        "type": click.Choice(["metric", "imperial"]),
        "default": "metric",
        "show_default": True,
        "help": "Units of the printed tables; axes stay as asked.",
    },
    "--threads": {"type": Count(256), "help": "[default: one per processor]"},
    "--name": {"metavar": "RUN", "help": "Name of the run. [default: after the file]"},
    "--redo": {"is_flag": True, "help": "Compute anew, beside an earlier run of the same."},
}
"""All options of the verb but --runs, in the order the help lists them."""


def _options(command: Decorated) -> Decorated:
    own = [click.option(name, **how) for name, how in OPTIONS.items()]
    for decorator in [*own, runs_option][::-1]:
        command = decorator(command)
    return command


@click.command(
    name="control", short_help="Map of setting over speed and load for the actuator, and its file."
)
@click.argument("engine", type=click.Path(path_type=Path))
@_options
def command(engine: Path, **typed: Any) -> None:
    """Work out the map that ENGINE's actuator should follow, and write it.

    Full load: most torque. Below: least fuel for the torque asked, by late closing, by the
    throttle, or by both. Smoothed, in whole steps, inside limits. A cam of steps: which to hold
    where, and where it switches. Every case is kept; the same command goes on.
    """
    from breathe.commands.control_words import writable
    from breathe.commands.joint_print import all_paths
    from breathe.commands.joint_task import actuators_named, asks_for_several, of_one
    from breathe.commands.step_task import asks_for_steps
    from breathe.engine.read import read_engine

    names, several = further_tables(typed["show"]), asks_for_several(typed)
    built = read_engine(engine)
    if several:
        named = actuators_named(built, typed["actuator"])
        writable(all_paths(typed["write"], named), typed["overwrite"])
    else:
        writable(typed["write"], typed["overwrite"])
        typed = of_one(typed)
    if several:
        unwritten = _together(engine, built, typed, names)
    elif asks_for_steps(built, typed):
        unwritten = _steps(engine, built, typed, names)
    else:
        unwritten = _along_axis(engine, built, typed, names)
    if unwritten:
        raise unwritten


def _along_axis(
    path: Path, built: Engine, typed: dict[str, Any], names: tuple[str, ...]
) -> RunError | None:
    """Map, keep and print what a sleeve or phaser should follow."""
    from breathe.commands.control_print import print_map
    from breathe.commands.control_task import task_of
    from breathe.commands.searching import asked, search
    from breathe.study.control.answer import answer_of
    from breathe.study.control.asked import planned_runs
    from breathe.study.control.burn import burning_slower
    from breathe.study.control.control import control_map

    task = task_of(built, typed)
    question = task.question
    identity = asked(built, question, task.change, task.notices)
    with _kept(
        path, built, typed, built.settings, question.speeds_rpm, identity, task.files
    ) as run:
        unwritten = search(
            run,
            None if typed["redo"] else typed["runs_folder"],
            planned_runs(question),
            typed["threads"],
            lambda ask: answer_of(
                control_map(built, ask(built), task.gear, question, ask(burning_slower(built))),
                task.change,
                task.start,
                task.notices,
            ),
        )
        print_map(run, typed, names)
    return unwritten


def _together(
    path: Path, built: Engine, typed: dict[str, Any], names: tuple[str, ...]
) -> RunError | None:
    """Map, keep and print what several actuators should follow together."""
    from breathe.commands.joint_print import print_joint
    from breathe.commands.joint_task import joint_task_of
    from breathe.commands.searching import SEVERAL, asked, search
    from breathe.study.control.joint import joint_map
    from breathe.study.control.joint_answer import joint_answer
    from breathe.study.control.joint_asked import planned_runs

    task = joint_task_of(built, typed)
    question, speeds = task.asked, task.asked.common.speeds_rpm
    identity = asked(built, question, task.fallback_deg, task.change, task.notices)
    with _kept(path, built, typed, built.settings, speeds, identity, (), SEVERAL) as run:
        unwritten = search(
            run,
            None if typed["redo"] else typed["runs_folder"],
            planned_runs(question),
            typed["threads"],
            lambda ask: joint_answer(
                joint_map(built, ask(built), question),
                task.fallback_deg,
                task.change,
                task.notices,
            ),
        )
        print_joint(run, typed, names)
    return unwritten


def _steps(
    path: Path, built: Engine, typed: dict[str, Any], names: tuple[str, ...]
) -> RunError | None:
    """Map, keep and print which steps to hold."""
    from breathe.commands.searching import STEPS, asked, search
    from breathe.commands.step_print import print_steps
    from breathe.commands.step_task import step_task_of
    from breathe.study.control.burn import burning_slower
    from breathe.study.control.step_answer import step_answer_of
    from breathe.study.control.step_asked import planned_step_runs
    from breathe.study.control.step_map import step_map

    task = step_task_of(built, typed)
    question = task.question
    identity = asked(built, question, task.change, task.notices)
    named = {one.label: one for one in (*question.steps, question.standard)}
    told = tuple(named.values())
    with _kept(path, built, typed, told, question.speeds_rpm, identity, (), STEPS) as run:
        unwritten = search(
            run,
            None if typed["redo"] else typed["runs_folder"],
            planned_step_runs(question),
            typed["threads"],
            lambda ask: step_answer_of(
                step_map(built, ask(built), question, ask(burning_slower(built))),
                task.change,
                task.notices,
            ),
        )
        print_steps(run, typed, names)
    return unwritten


def _kept(
    path: Path,
    built: Engine,
    typed: dict[str, Any],
    settings: Sequence[Setting],
    speeds_rpm: Sequence[float],
    identity: str,
    files: Sequence[Path],
    kind: str = "control",
) -> Run:
    """The run that keeps what is found."""
    from breathe.run_names import default_name
    from breathe.runs import open_run, source_files
    from breathe.study.checks.marks import with_clearances
    from breathe.study.describe import about

    return open_run(
        typed["runs_folder"],
        typed["name"] or f"{default_name(path)}_control",
        with_clearances(about(built, settings, speeds_rpm, 1.0), built, settings),
        [],
        [*source_files(path), *files],
        kind=kind,
        asked=identity,
        redo=typed["redo"],
    )


def further_tables(text: str | None) -> tuple[str, ...]:
    """Further tables asked for after ``--show``.

    Raises
    ------
    BreatheError
        A name that is none, with the nearest.
    """
    import difflib

    from breathe.errors import BreatheError
    from breathe.view.control import SHOWN as known

    names = [part.strip().lower() for part in (text or "").split(",") if part.strip()]
    for name in names:
        if name not in known:
            close = difflib.get_close_matches(name, known, n=1)
            hint = f"did you mean {close[0]!r}?" if close else f"expected some of: {SHOWN}"
            raise BreatheError(f"--show: found {name!r}; {hint}")
    return tuple(dict.fromkeys(names))


def refuse_travel(names: Sequence[str]) -> None:
    """Refuse a table that a map of steps has not.

    Raises
    ------
    BreatheError
        It is among ``names``.
    """
    from breathe.errors import BreatheError

    if "travel" in names:
        raise BreatheError("--show: found 'travel'; steps have none")
