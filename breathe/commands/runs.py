"""breathe runs: what is in the run folder."""

from __future__ import annotations

from pathlib import Path

import click

from breathe.commands.options import runs_option


@click.command(name="runs", short_help="List the runs kept in the run folder.")
@runs_option
def command(runs_folder: Path) -> None:
    """List all runs: when begun, cases done of those planned, state, engine."""
    from breathe.runs import run_folders
    from breathe.view.console import Grid, show

    folders = run_folders(runs_folder)
    if not folders:
        show(
            [
                f"No runs in {runs_folder.absolute()} yet. Begin one with: breathe compare ENGINE, "
                "such as: breathe compare engines/road_four_sleeve.toml"
            ]
        )
        return
    rows = sorted((_row(folder) for folder in folders), key=lambda row: row[1])
    header = ("run", "begun", "cases", "state", "engine")
    words = frozenset(range(len(header)))
    show([Grid(title="", header=header, rows=tuple(rows), left=words - {2}, folds=words)])


def _row(folder: Path) -> tuple[str, ...]:
    from breathe.run import Run, RunError

    try:
        with Run(folder) as run:
            cases = (
                f"{len(run.rows())}"
                if run.open_ended
                else f"{len(run.rows())} of {len(run.planned)}"
            )
            state = "finished" if run.finished else "unfinished"
            if run.altered():
                state += ", altered since written"
            begun = run.made.strftime("%Y-%m-%d %H:%M")
            return run.name, begun, cases, state, run.about.engine
    except RunError:
        return folder.name, "", "", "cannot be read", ""
