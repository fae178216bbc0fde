"""Work through a plan of what-ifs: time said first, rows kept one by one, answers shown."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, cast

import click

from breathe.commands.progress import Keep, watched
from breathe.engine.quantities import System
from breathe.errors import BreatheError, Stopped
from breathe.run import Run, RunError
from breathe.run_names import default_name
from breathe.runs import open_run, run_folders, source_files
from breathe.study.compare import Job, Row
from breathe.study.describe import about
from breathe.study.fingerprint import fingerprint
from breathe.study.plans.cam import RowFault
from breathe.study.plans.cluster import Runner
from breathe.study.plans.kept import Tried, tried_from, tried_text
from breathe.study.plans.outcome import ASKED, Outcome, outcome
from breathe.study.plans.sheet import Plan, PlanRow
from breathe.study.plans.time_needed import TimeNeeded, span
from breathe.study.plans.what_if import Base, build, jobs_of
from breathe.view.console import Item, Piece, show

ASK_ABOVE_s = 3600.0
"""A plan that takes longer is begun only on the user's word."""
_FEWER_ROWS = 500
_TIMED = 6
"""Cases timed before the others."""
_GOLDEN = 0.6180339887498949


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
        taken = name or default
        if run.name != taken and not run.resumed and not redo:
            other = "another plan, engine file or speeds"
            click.echo(f"{taken!r} holds {other}, so this run is {run.name!r}.", err=True)
        return run

    def work(self, run: Run, take_from: Path | None) -> None:
        """Run what the folder lacks; says how it read the plan, and how long it will take.

        Raises
        ------
        BreatheError
            It would take long, and nobody said yes.
        Stopped
            The user pressed Ctrl-C; says what is kept.
        """
        if run.answer() is not None:
            click.echo(
                f"{run.folder} holds exactly this already; printed from there. --redo computes "
                "anew.",
                err=True,
            )
            return
        self._tell_reading()
        try:
            self._run(run, take_from)
        except (KeyboardInterrupt, click.Abort):  # between the times it is watched
            raise Stopped(
                f"Stopped. {len(run.done())} cases are kept in {run.folder}; the same command goes "
                "on from there."
            ) from None

    def _run(self, run: Run, take_from: Path | None) -> None:
        self.rows = run.done()
        if self.rows:
            click.echo(f"Going on with {run.folder}: {len(self.rows)} cases are there.", err=True)
        if take_from is not None:
            self._take(run, take_from)
        wanted = {key for row in self.all_rows for key in self.keys(row)}
        if wanted <= self.rows.keys():
            return
        with Runner(self.spec, lambda text: click.echo(text, err=True)) as runner:
            total = len(wanted)
            with watched(run, total, len(self.rows)) as keep:
                needed = self._timed(runner, keep, total)
            self.failures = dict(runner.failures)
            if needed.cases:
                self._agreed(needed)
            with watched(run, total, len(self.rows)) as keep:
                runner.run(self._waiting(), self._keeping(keep))
            self.failures = dict(runner.failures)

    def _tell_reading(self) -> None:
        from breathe.view.what_if_rows import reasons

        refused = self.plan.refused
        page: list[Piece] = [f"{self.plan.path.name}, as it is read:"]
        page += [Item(text, indent=2) for text in self.plan.understood]
        if refused:
            verb = "row is" if len(refused) == 1 else "rows are"
            page.append(f"{len(refused)} {verb} refused, the rest runs:")
        page += reasons([(row.number, "; ".join(row.faults)) for row in refused])
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
            cases = "1 case is" if taken == 1 else f"{taken} cases are"
            click.echo(f"{cases} taken from other runs in {base}.", err=True)

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
        """Run a few cases from all over the plan, one ahead of the others, and time them."""
        width, seconds = runner.width, list[float]()
        on_row, jobs = self._keeping(keep), self._sample()

        def timed(job: Job, found: Row, took: float) -> None:
            seconds.append(took)
            if job.key != "timed":
                on_row(job, found, took)

        if jobs:
            # The first case of a worker loads or compiles code; it is run again to be timed.
            runner.run(jobs[:1], on_row)
            runner.run([replace(jobs[0], key="timed"), *jobs[1:]], timed)
        runner.failures.pop("timed", None)
        left = max(0, total - len(self.rows) - len(runner.failures))
        case_s = sum(seconds) / len(seconds) if seconds else 0.0
        build_s = sum(self._builds) / len(self._builds) if self._builds else 0.0
        return TimeNeeded(left if seconds else 0, case_s, build_s, len(self.base.speeds_rpm), width)

    def _sample(self) -> list[Job]:
        """A few cases to be run, from rows far apart and at speeds far apart."""
        lacking = [row for row in self.all_rows if set(self.keys(row)) - self.rows.keys()]
        found: dict[str, Job] = {}
        # Steps of the golden section never come close to one another.
        for k in sorted(range(len(lacking)), key=lambda k: k * _GOLDEN % 1.0):
            jobs = [job for job in self._waiting([lacking[k]]) if job.key not in found]
            if jobs:
                job = jobs[len(found) * len(jobs) // _TIMED]
                found[job.key] = job
            if len(found) == _TIMED:
                break
        return list(found.values())

    def _agreed(self, needed: TimeNeeded) -> None:
        """Say how long it takes; a long one needs a yes."""
        cases = "1 case" if needed.cases == 1 else f"{needed.cases} cases"
        click.echo(
            f"{len(self.plan.rows)} what-ifs, {cases} still to run at about "
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
        from breathe.commands.trying_print import print_tried
        from breathe.view.what_if import found_from, sheet_text

        text, system = run.answer(), cast(System, units)
        tried = tried_from(text) if text is not None else self._tried()
        unwritten = None
        if text is None and not any(one.status == "failed" for one in tried.outcomes.values()):
            try:
                found = found_from(tried, run.about, by, system)
                run.finish(sheet_text(found, system), tried_text(tried))
            except RunError as error:
                unwritten = error
        print_tried(run, tried, by, units, top, csv=csv)
        if unwritten:
            raise unwritten

    def _tried(self) -> Tried:
        from breathe.study.plans.rank import influence_inputs

        own = any(column.target.path in (("speed",), ("throttle",)) for column in self.plan.columns)
        numbers = [row.number for row in self.plan.rows]
        return Tried(
            plan=self.plan,
            outcomes=self.outcomes(),
            inputs=influence_inputs(numbers, self.plan, self._kept()),
            own_case=own,
            drawn_from=self.drawn_from,
        )

    def _kept(self) -> dict[int, float | str | None]:
        """What the blank cells of each column stand for, in the column's unit."""
        from breathe.study.plans.sheet import figure
        from breathe.study.plans.what_if import kept_value

        kept: dict[int, float | str | None] = {}
        for n, column in enumerate(self.plan.columns):
            value = kept_value(self.base, column.target) if column.used else None
            kept[n] = figure(value, column) if isinstance(value, float) else value
        return kept
