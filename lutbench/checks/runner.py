"""Running checks: one after the other, in several processes, or on a cluster."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

from lutbench.checks.base import Check, Context, command_line
from lutbench.checks.limits import CheckFigure
from lutbench.checks.suite import Suite
from lutbench.errors import LutbenchError
from lutbench.long_work import Workers, run_parallel
from lutbench.results import PlainData, Result

Status = Literal["passed", "failed", "error", "recorded"]


@dataclass(frozen=True)
class Outcome(PlainData):
    """The outcome of one check.

    ``failed``: a figure is over its limit. ``error``: the check could not be run (a file is
    missing or corrupt, nothing would have been compared), which counts as a failure.
    """

    KEYS = (
        *("name", "kind", "status", "summary", "where", "show", "tags", "reason"),
        *("figures", "seconds"),
    )

    name: str
    kind: str
    status: Status
    summary: str
    tags: tuple[str, ...] = ()
    reason: str = ""
    where: str = ""
    show: str = ""
    figures: tuple[CheckFigure, ...] = ()
    seconds: float = 0.0

    @property
    def holds(self) -> bool:
        """Whether the check passed, or recorded its baseline."""
        return self.status in ("passed", "recorded")


@dataclass(frozen=True, repr=False)
class Report(Result):
    """The outcomes of a suite, in the order of its checks."""

    KEYS = ("suite=path", "title", "passed", "counts", "checks=outcomes")

    title: str
    path: str
    outcomes: tuple[Outcome, ...]

    @property
    def passed(self) -> bool:
        """Whether there are outcomes and all of them passed or were recorded."""
        return bool(self.outcomes) and all(each.holds for each in self.outcomes)

    @property
    def counts(self) -> dict[str, int]:
        """The numbers of checks by status."""
        return {name: self.count(name) for name in ("passed", "failed", "error", "recorded")}

    def count(self, status: str) -> int:
        """The number of checks with that status."""
        return sum(each.status == status for each in self.outcomes)


def run_check(check: Check, context: Context) -> Outcome:
    """Run one check; an error becomes an outcome, not an exception."""
    started = time.perf_counter()
    try:
        finding = check.run(context)
    except LutbenchError as error:
        return _unable(check, str(error), started)
    except MemoryError:
        return _unable(check, "not enough memory for this check", started)
    except OSError as error:
        where = f"{error.filename}: " if error.filename else ""
        return _unable(check, f"{where}{error.strerror or error}", started)
    status: Status = "passed" if finding.passed else "failed"
    return Outcome(
        check.name,
        check.kind,
        "recorded" if finding.recorded else status,
        finding.summary,
        check.tags,
        check.reason,
        finding.where,
        command_line(finding.show) if finding.show else "",
        finding.figures,
        _since(started),
    )


def _since(started: float) -> float:
    """Seconds of wall-clock time, to a tenth of a millisecond."""
    return round(time.perf_counter() - started, 4)


def _unable(check: Check, why: str, started: float) -> Outcome:
    return Outcome(
        check.name,
        check.kind,
        "error",
        " ".join(why.split()),
        check.tags,
        check.reason,
        seconds=_since(started),
    )


@dataclass(frozen=True)
class SuiteRun:
    """How the checks of a suite are run.

    Parameters
    ----------
    jobs
        Number of checks that run at the same time, each in its own process.
    scheduler
        The address of a Dask scheduler whose workers run them; they must see the suite's
        files under the same paths.
    record, force
        Record baselines instead of comparing with them, and replace existing ones.
    """

    jobs: int = 1
    scheduler: str | None = None
    record: bool = False
    force: bool = False


def run_suite(
    suite: Suite,
    checks: Sequence[Check],
    run: SuiteRun = SuiteRun(),
    *,
    on_outcome: Callable[[Outcome], None] = lambda outcome: None,
) -> Report:
    """Run `checks` of `suite` and report on them.

    Raises
    ------
    LutbenchError
        When one of them would record outside the suite's folder.
    """
    context = suite.context(record=run.record, force=run.force)
    if run.record:  # refused before anything is written
        for check in checks:
            if check.recording:
                context.place(check.recording, check.where)
    outcomes = []
    for done in run_parallel(run_check, checks, context, Workers(run.jobs, run.scheduler)):
        outcomes.append(done.value or _unable(done.item, done.error, time.perf_counter()))
        on_outcome(outcomes[-1])
    return Report(suite.title, str(suite.path), tuple(outcomes))
