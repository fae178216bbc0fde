"""Work through a plan of what-ifs: time said first, rows kept one by one, answers shown."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, cast

import click

from breathe.commands.progress import Keep, watched
from breathe.engine.quantities import System
from breathe.errors import BreatheError
from breathe.run_names import default_name
from breathe.runs import Run, RunError, open_run, run_folders, source_files
from breathe.study.cluster import Runner
from breathe.study.compare import Job, Row
from breathe.study.describe import about
from breathe.study.fingerprint import fingerprint
from breathe.study.outcome import ASKED, Outcome, outcome, outcomes_from, outcomes_text
from breathe.study.plan_sheet import Plan, PlanRow
from breathe.study.time_needed import TimeNeeded, span
from breathe.study.what_if import Base, RowFault, build, jobs_of
from breathe.view.console import Item, Piece, show

ASK_ABOVE_s = 3600.0
"""A plan that takes longer is begun only on the user's word."""
_FEWER_ROWS = 500


@dataclass
class Trying:
    """One plan for one engine."""

    base: Base
    plan: Plan
    spec: str
    drawn_from: int = 0
    yes: bool = False
    rows: dict[str, Row] = field(default_factory=dict)
    """Cases done, by key."""
    faults: dict[int, str] = field(default_factory=dict)
    """Rows that cannot be built."""
    failures: dict[str, str] = field(default_factory=dict)
    """Cases that failed, by key."""
    asked: dict[str, str] = field(default_factory=dict)
    """What the reader of its engine asks back, by case."""
    _builds: list[float] = field(default_factory=list)
    _keys: dict[int, tuple[str, ...]] = field(default_factory=dict)

    @property
    def all_rows(self) -> tuple[PlanRow, ...]:
        """The engine file as it is, then the plan."""
        return (PlanRow(0), *self.plan.rows)

    def open(self, folder: Path, name: str | None, redo: bool) -> Run:
        """The run of this plan, begun or gone on with."""
        base, source = self.base, self.base.file
        default = f"{default_name(source)}_try_{default_name(self.plan.path)}"[:60].rstrip("._ ")
        content = [[row.number, list(row.cells)] for row in self.plan.rows]
        titles = [column.title for column in self.plan.columns]
        run = open_run(
            folder,
            name or default,
            about(base.engine, (base.setting,), base.speeds_rpm, base.throttle),
            [],
            [*source_files(source), self.plan.path],
            kind="try",
            asked=fingerprint(base.key, titles, content, base.speeds_rpm, base.throttle),
            redo=redo,
        )
        if name and run.name != name and not run.resumed:
            click.echo(f"{name!r} holds another run, so this one is {run.name!r}.", err=True)
        return run

    def work(self, run: Run, take_from: Path | None) -> None:
        """Run what the folder lacks; says how it read the plan, and how long it will take.

        Raises
        ------
        BreatheError
            It would take long, and nobody said yes.
        """
        if run.answer() is not None:
            click.echo(
                f"{run.folder} holds exactly this already; printed from there. --redo computes "
                "anew.",
                err=True,
            )
            return
        self._tell_reading()
        self.rows = run.done()
        if self.rows:
            click.echo(f"Going on with {run.folder}: {len(self.rows)} cases are there.", err=True)
        if take_from is not None:
            self._take(run, take_from)
        with Runner(self.spec, lambda text: click.echo(text, err=True)) as runner:
            total = len({key for row in self.all_rows for key in self.keys(row)})
            with watched(run, total, len(self.rows)) as keep:
                needed = self._timed(runner, keep, total)
            self.failures = dict(runner.failures)
            if needed.cases:
                self._agreed(needed)
            with watched(run, total, len(self.rows)) as keep:
                runner.run(self._waiting(), self._keeping(keep))
            self.failures = dict(runner.failures)

    def _tell_reading(self) -> None:
        refused = self.plan.refused
        page: list[Piece] = [f"{self.plan.path.name}, as it is read:"]
        page += [Item(text, indent=2) for text in self.plan.understood]
        if refused:
            verb = "row is" if len(refused) == 1 else "rows are"
            page.append(f"{len(refused)} {verb} refused, the rest runs:")
        page += [Item(f"row {r.number}: {'; '.join(r.faults)}", indent=2) for r in refused[:12]]
        page += [Item(f"and {len(refused) - 12} more", indent=2)] if len(refused) > 12 else []
        show(page, sys.stderr)

    def _take(self, run: Run, base: Path) -> None:
        """Cases that another plan for the same engine has run."""
        wanted = {key for row in self.all_rows for key in self.keys(row)} - self.rows.keys()
        taken = 0
        for folder in run_folders(base) if wanted else []:
            try:
                with Run(folder) as other:
                    if folder == run.folder or other.kind != "try" or other.altered():
                        continue
                    found = {k: row for k, row in other.done().items() if k in wanted}
            except RunError:
                continue
            for key, row in found.items():
                run.keep(key, row)
            self.rows |= found
            wanted -= found.keys()
            taken += len(found)
        if taken:
            click.echo(f"{taken} cases are taken from other runs in {base}.", err=True)

    def keys(self, row: PlanRow) -> tuple[str, ...]:
        """Of the cases of a row; none of one that is refused."""
        if row.faults:
            return ()
        if row.number not in self._keys:
            self._keys[row.number] = tuple(j.key for j in jobs_of(self.base, self.plan, row, None))
        return self._keys[row.number]

    def _waiting(self, rows: Iterable[PlanRow] | None = None) -> Iterator[Job]:
        """Cases to run, built only when they are wanted; equal ones once."""
        handed: set[str] = set()
        for row in self.all_rows if rows is None else rows:
            missing = set(self.keys(row)) - self.rows.keys() - self.failures.keys() - handed
            if not missing or row.number in self.faults:
                continue
            start = time.perf_counter()
            try:
                built = build(self.base, self.plan, row)
            except RowFault as fault:
                self.faults[row.number] = str(fault)
                continue
            self._builds.append(time.perf_counter() - start)
            for job in jobs_of(self.base, self.plan, row, built):
                if job.key in missing and job.key not in handed:
                    handed.add(job.key)
                    self.asked[job.key] = "; ".join(built.questions)
                    yield job

    def _keeping(self, keep: Keep) -> Any:
        def on_row(job: Job, row: Row, _: float) -> None:
            whole = {**row, ASKED: self.asked.pop(job.key, "")}
            self.rows[job.key] = whole
            keep(job, whole)

        return on_row

    def _timed(self, runner: Runner, keep: Keep, total: int) -> TimeNeeded:
        """Run the first row that lacks cases, one case ahead of the others, and time it."""
        width, seconds = runner.width, list[float]()
        on_row = self._keeping(keep)
        for row in self.all_rows:
            jobs = list(self._waiting([row]))
            if not jobs:
                continue
            # The first case of a worker loads or compiles code; it is run again to be timed.
            runner.run(jobs[:1], on_row)
            again = [replace(jobs[0], key="timed"), *jobs[1:]]

            def timed(job: Job, found: Row, took: float) -> None:
                seconds.append(took)
                if job.key != "timed":
                    on_row(job, found, took)

            runner.run(again, timed)
            break
        runner.failures.pop("timed", None)
        left = max(0, total - len(self.rows) - len(runner.failures))
        case_s = sum(seconds) / len(seconds) if seconds else 0.0
        build_s = sum(self._builds) / len(self._builds) if self._builds else 0.0
        return TimeNeeded(left if seconds else 0, case_s, build_s, len(self.base.speeds_rpm), width)

    def _agreed(self, needed: TimeNeeded) -> None:
        """Say how long it takes; a long one needs a yes."""
        click.echo(
            f"{len(self.plan.rows)} what-ifs, {needed.cases} cases still to run at about "
            f"{needed.case_s:.2f} s each, {needed.at_a_time} at a time: about "
            f"{span(needed.seconds)}. It may be stopped at any time and goes on from there.",
            err=True,
        )
        if needed.seconds <= ASK_ABOVE_s or self.yes:
            return
        show([Item(text) for text in self._coarser(needed)], sys.stderr)
        if sys.stdin is not None and sys.stdin.isatty():
            if click.confirm("Begin?", err=True):
                return
            raise BreatheError("Not begun. The cases timed are kept.")
        raise BreatheError(
            f"Not begun, since about {span(needed.seconds)} is long: add --yes to begin, or make "
            "the plan coarser as said above."
        )

    def _coarser(self, needed: TimeNeeded) -> list[str]:
        """Ways to a quicker answer, each with its time."""
        told, rows, at = [], len(self.plan.rows), self.base.speeds_rpm
        if rows > 2 * _FEWER_ROWS:
            fewer = span(needed.of(_FEWER_ROWS, needed.per_row))
            told.append(
                f"Coarser: --rows {_FEWER_ROWS} draws {_FEWER_ROWS} of the {rows} rows evenly at "
                f"random, about {fewer}; enough to see which inputs matter. Then a finer plan "
                "around the best."
            )
        if len(at) > 4:
            few = [at[round(k * (len(at) - 1) / 3)] for k in range(4)]
            told.append(
                f"Coarser: --speeds {','.join(f'{s:g}' for s in few)} runs 4 speeds instead of "
                f"{len(at)}, about {span(needed.of(rows, 4))}."
            )
        return told

    def outcomes(self) -> dict[int, Outcome]:
        """The answer of every row."""
        found = {}
        for row in self.all_rows:
            if row.faults or row.number in self.faults:
                told = "; ".join(row.faults) or self.faults[row.number]
                found[row.number] = Outcome(number=row.number, status="refused", reason=told)
                continue
            one = outcome(row, self.keys(row), self.rows, self.failures)
            found[row.number] = one or Outcome(number=row.number, status="not run")
        return found

    def show(self, run: Run, by: str, units: str, top: int, *, csv: bool) -> None:
        """Print the answer of a run, writing its sheet first where it is new."""
        from breathe.view.what_if import page, sheet_text

        text, system = run.answer(), cast(System, units)
        if text is None:
            outcomes = self.outcomes()
        else:
            outcomes = {one.number: one for one in outcomes_from(text)}
        found = self._found(run, outcomes, by, system)
        failed = sum(one.status == "failed" for one in outcomes.values())
        unwritten = None
        if text is None and not failed:
            try:
                run.finish(sheet_text(found, system), outcomes_text(list(outcomes.values())))
            except RunError as error:
                unwritten = error
        if csv:
            sys.stdout.flush()
            sys.stdout.buffer.write(sheet_text(found, system).encode("utf-8"))
            sys.stdout.buffer.flush()
        else:
            show([*page(found, system, top), "", *_where(run, failed)])
        if unwritten:
            raise unwritten

    def _found(self, run: Run, outcomes: Mapping[int, Outcome], by: str, system: System) -> Any:
        from breathe.study.rank import influence, influence_inputs
        from breathe.view.what_if import Found, answers

        own = any(column.target.path in (("speed",), ("throttle",)) for column in self.plan.columns)
        numbers = [row.number for row in self.plan.rows]
        inputs = influence_inputs(numbers, self.plan, self._kept())
        return Found(
            plan=self.plan,
            about=run.about,
            outcomes=outcomes,
            influence=influence(inputs, answers(numbers, outcomes, by, system)),
            by=by,
            own_case=own,
            drawn_from=self.drawn_from,
        )

    def _kept(self) -> dict[int, float | str | None]:
        """What the blank cells of each column stand for, in the column's unit."""
        from breathe.study.plan_sheet import figure
        from breathe.study.what_if import kept_value

        kept: dict[int, float | str | None] = {}
        for n, column in enumerate(self.plan.columns):
            value = kept_value(self.base, column.target) if column.used else None
            kept[n] = figure(value, column) if isinstance(value, float) else value
        return kept


def _where(run: Run, failed: int) -> list[Piece]:
    made = run.made.strftime("%Y-%m-%d %H:%M")
    if failed:
        rows = "1 row failed" if failed == 1 else f"{failed} rows failed"
        return [Item(f"{rows}; the same command tries again. Kept in {run.folder} so far.")]
    return [
        Item(
            f"Kept in {run.folder} (breathe {run.versions.get('breathe', '?')}, {made}); the "
            f"result sheet is {run.folder / 'results.csv'}."
        ),
        Item(
            "Next: write the best row's values into a copy of the engine file, then: breathe check "
            "and breathe compare with that file"
        ),
    ]
