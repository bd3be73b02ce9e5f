"""JUnit XML, as CI servers read it.

There is no standard; the elements and attributes here are those that the common schemas share
(testsuites, testsuite, testcase, failure, error, system-out). The file holds no time stamp and
no host name, so that files of equal runs differ only in durations.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from xml.etree import ElementTree

from lutbench.checks.runner import Outcome, Report
from lutbench.given import harmless

# Characters that XML 1.0 cannot hold, not even escaped.
_FORBIDDEN = re.compile(r"[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def junit_xml(reports: Sequence[Report]) -> bytes:
    """The reports as the bytes of a JUnit XML file, with a test suite for each."""
    every = [outcome for report in reports for outcome in report.outcomes]
    root = ElementTree.Element("testsuites", {"name": "lutbench", **_counts(every)})
    for report in reports:
        attributes = {"name": _clean(report.title), **_counts(report.outcomes), "skipped": "0"}
        suite = ElementTree.SubElement(root, "testsuite", attributes)
        for outcome in report.outcomes:
            _case(suite, outcome, report.title)
    ElementTree.indent(root)
    data = ElementTree.tostring(root, encoding="utf-8", xml_declaration=True)
    return bytes(data) + b"\n"


def _counts(outcomes: Sequence[Outcome]) -> dict[str, str]:
    return {
        "tests": str(len(outcomes)),
        "failures": str(sum(each.status == "failed" for each in outcomes)),
        "errors": str(sum(each.status == "error" for each in outcomes)),
        "time": f"{sum(each.seconds for each in outcomes):.3f}",
    }


def _case(suite: ElementTree.Element, outcome: Outcome, title: str) -> None:
    attributes = {
        "name": _clean(outcome.name),
        "classname": _clean(f"{title}.{outcome.kind}".replace("/", ".")),
        "time": f"{outcome.seconds:.3f}",
    }
    case = ElementTree.SubElement(suite, "testcase", attributes)
    if pairs := properties(outcome):
        # First, as pytest writes them: some readers depend on the order.
        place = ElementTree.SubElement(case, "properties")
        for name, number in pairs:
            attributes = {"name": _clean(name), "value": repr(number)}
            ElementTree.SubElement(place, "property", attributes)
    if outcome.status in ("failed", "error"):
        element = "failure" if outcome.status == "failed" else "error"
        attributes = {"message": _clean(outcome.summary), "type": outcome.kind}
        ElementTree.SubElement(case, element, attributes).text = _clean(details(outcome))
    else:
        ElementTree.SubElement(case, "system-out").text = _clean(outcome.summary)


def properties(outcome: Outcome) -> list[tuple[str, float]]:
    """The figures of a check and their limits by name; the pytest plugin gives the same."""
    pairs: list[tuple[str, float]] = []
    for figure in outcome.figures:
        pairs.append((f"lutbench {figure.name}", float(figure.found)))
        pairs.append((f"lutbench {figure.name} limit", float(figure.limit)))
    return pairs


def details(outcome: Outcome) -> str:
    """Lines with the failed figure, where it is, the reason of the check, and a command."""
    lines = [outcome.summary]
    if outcome.where:
        lines.append(f"where: {outcome.where}")
    if outcome.reason:
        lines.append(f"reason: {outcome.reason}")
    if outcome.show:
        lines.append(f"to see it: {outcome.show}")
    return "\n".join(lines)


def _clean(text: str) -> str:
    return _FORBIDDEN.sub("\ufffd", harmless(text))
