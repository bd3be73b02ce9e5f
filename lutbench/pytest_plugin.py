"""The pytest plugin: suites as test items, assertions, and baselines that tests record.

pytest loads this module in every run of an environment that has lutbench, so it
imports nothing heavy until a test asks for it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from lutbench.checks.base import Check
    from lutbench.checks.runner import Outcome
    from lutbench.checks.suite import Suite

SUFFIX = ".lutbench.toml"
FOLDER = "lutbench_baselines"
"""The folder beside the test file in which `lut_baseline` keeps what was recorded."""

HELPERS = ("assert_baseline", "assert_lut_close", "assert_matches_reference")


def __getattr__(name: str) -> Any:
    if name in HELPERS:
        from lutbench import testing

        return getattr(testing, name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def pytest_addoption(parser: pytest.Parser) -> None:
    """The options of the plugin."""
    group = parser.getgroup("lutbench", "LUT checks")
    group.addoption(
        "--lutbench-record",
        action="store_true",
        help="record LUT baselines (and suites' stored stills) that are missing",
    )
    group.addoption(
        "--lutbench-replace",
        action="store_true",
        help="record all LUT baselines that the run meets, also those that exist",
    )


def pytest_collect_file(file_path: Path, parent: pytest.Collector) -> SuiteFile | None:
    """Collect ``*.lutbench.toml``."""
    if file_path.name.endswith(SUFFIX):
        collector: SuiteFile = SuiteFile.from_parent(parent, path=file_path)
        return collector
    return None


class SuiteFile(pytest.File):
    """A suite; its items are its checks."""

    def collect(self) -> Iterator[pytest.Item]:
        """The checks of the suite, in the order of the file."""
        from lutbench.checks.suite import read_suite
        from lutbench.errors import LutbenchError

        try:
            suite = read_suite(self.path)
        except LutbenchError as error:
            raise self.CollectError(str(error)) from None
        for check in suite.checks:
            yield CheckItem.from_parent(self, name=check.name, check=check, suite=suite)


class CheckItem(pytest.Item):
    """A check as a test; its tags work with ``-k``."""

    def __init__(self, *, check: Check, suite: Suite, **options: Any) -> None:
        super().__init__(**options)
        self.check = check
        self.suite = suite
        self.extra_keyword_matches.update({check.kind, *check.tags})

    def runtest(self) -> None:
        """Run the check."""
        from lutbench.checks.junit import properties
        from lutbench.checks.runner import run_check

        wanted = _record(self.config)
        recorded = self.check.kind in ("baseline", "picture")
        record = recorded and (
            wanted == "all" or (wanted == "missing" and not self._recording().exists())
        )
        if record:
            made = run_check(self.check, self.suite.context(record=True, force=wanted == "all"))
            if not made.holds:
                raise CheckFailedError(made)
        outcome = run_check(self.check, self.suite.context())
        self.user_properties.extend(properties(outcome))
        if not outcome.holds:
            raise CheckFailedError(outcome)

    def _recording(self) -> Path:
        return self.suite.path.parent / self.check.recording

    def repr_failure(self, excinfo: pytest.ExceptionInfo[BaseException], style: Any = None) -> Any:
        """The failed figure and its limit, where it was found, and the command that shows it."""
        if isinstance(excinfo.value, CheckFailedError):
            return str(excinfo.value)
        return super().repr_failure(excinfo, style)

    def reportinfo(self) -> tuple[Path, int | None, str]:
        """The file of the check, and its name."""
        return self.path, None, f"{self.path.name}: {self.name}"


class CheckFailedError(Exception):
    """A check that does not hold."""

    def __init__(self, outcome: Outcome) -> None:
        from lutbench.checks.junit import details

        super().__init__(f"{outcome.kind} check {outcome.name!r}\n{details(outcome)}")


@pytest.fixture
def lut_baseline(request: pytest.FixtureRequest) -> Callable[..., None]:
    """A function that compares a LUT with what it gave when its baseline was recorded.

    ``lut_baseline(lut, name="...", codes=0.1)``; the other options are those of
    `lutbench.testing.assert_baseline`. The baseline is a small CSV file in
    ``lutbench_baselines`` beside the test, under the test's name. Record with
    ``pytest --lutbench-record``; replace with ``--lutbench-replace``.
    """
    used: set[str] = set()
    return partial(_check_baseline, request, used)


def _check_baseline(
    request: pytest.FixtureRequest, used: set[str], lut: Any, name: str = "", **options: Any
) -> None:
    __tracebackhide__ = True
    from lutbench.testing import assert_baseline

    node = request.node.nodeid.rpartition("::")[2]
    own = _file_name(f"{request.node.path.stem}-{node}{'-' + name if name else ''}")
    if own in used:
        pytest.fail(f"two baselines of this test are named {name!r}: give each its own name")
    used.add(own)
    path = request.node.path.parent / FOLDER / f"{own}.csv"
    wanted = _record(request.config)
    if not wanted and not path.exists():
        pytest.fail(f"there is no baseline {path.name}: record it with pytest --lutbench-record")
    assert_baseline(lut, path, record=bool(wanted), replace=wanted == "all", **options)


def _record(config: pytest.Config) -> str:
    """``all``, ``missing`` or nothing: which baselines to record."""
    if config.getoption("--lutbench-replace"):
        return "all"
    return "missing" if config.getoption("--lutbench-record") else ""


def _file_name(text: str) -> str:
    """A file name valid on every system; a digest keeps names apart that would become equal."""
    plain = re.sub(r"[^A-Za-z0-9._-]+", "_", text).strip("_")
    if plain == text and len(plain) <= 100:
        return plain
    import hashlib

    return f"{plain[:100]}-{hashlib.sha256(text.encode()).hexdigest()[:8]}"
