"""``lutbench verify``: exit status, selection, reports, recording, and what may not pass."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import junitparser
import numpy as np
import pytest
from click.testing import CliRunner, Result

import lutbench
from lutbench.checks.junit import junit_xml
from lutbench.checks.runner import Outcome, Report
from lutbench.checks.suite import name_matches
from lutbench.cli.main import group
from lutbench.errors import LutbenchError
from lutbench.formats.cube_write import write_cube
from lutbench.media.still.still import Still, write_still
from lutbench.tables.lut import Lut1D, Lut3D, ShaperLut3D

QUICK = "ACEScct, ACEScg to BT.1886, BT.709"

SUITE = f"""
title = "Salt Road & friends"

[[check]]
name = "monitor is exact"
kind = "reference"
lut = "monitor.cube"
exact = "{QUICK}"
tags = ["monitor", "day"]
reason = "the crew lights by it"

[[check]]
name = "monitor as colour-science has it"
kind = "reference"
lut = "monitor.cube"
colour_science = "{QUICK}"
tags = ["monitor"]

[[check]]
name = "monitor has not drifted"
kind = "baseline"
lut = "monitor.cube"
baseline = "baselines/monitor.csv"

[[check]]
name = "grey"
kind = "levels"
lut = "monitor.cube"
source = {{ curve = "ACEScct", gamut = "ACEScg" }}
points = [{{ stops = 0, percent = 48.94, within = 3 }}]
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    write_cube(_monitor(), "monitor.cube")
    Path("suite.toml").write_text(SUITE)
    return tmp_path


def _monitor(gain: float = 1.0) -> Lut3D:
    lut = lutbench.build("ACEScct", "BT.1886", source_gamut="ACEScg", target_gamut="BT.709", size=9)
    return Lut3D(np.asarray(lut.table) * gain)


def run(*args: str) -> Result:
    result = CliRunner().invoke(group, ["verify", *args], standalone_mode=False)
    if result.exception is not None:
        raise result.exception
    return result


def report(*args: str) -> dict:
    data = json.loads(run(*args, "--json").stdout)
    assert data["schema"] == 1
    return data


def write_suite(text: str) -> None:
    Path("suite.toml").write_text(text)


def one(keys: str) -> dict:
    """The outcome of a suite of one check; its exit status must agree."""
    write_suite(f'[[check]]\nname = "one"\n{keys}')
    result = run("suite.toml", "--json")
    found = json.loads(result.stdout)["suites"][0]["checks"][0]
    assert result.return_value == (0 if found["status"] in ("passed", "recorded") else 1)
    return found


# Exit status, selection, reports


def test_pass_fail_and_record(folder: Path) -> None:
    assert run("suite.toml").return_value == 1  # there is no baseline
    assert run("suite.toml", "--record").return_value == 0
    result = run("suite.toml")
    assert result.return_value == 0
    assert "4 passed" in result.stdout
    write_cube(_monitor(1.005), "monitor.cube", force=True)
    result = run("suite.toml")
    assert result.return_value == 1
    assert "maximum 10-bit codes 5.115, limit 0.1" in result.stdout
    assert "why it counts: the crew lights by it" in result.stdout
    shown = next(line for line in result.stdout.splitlines() if "lutbench compare" in line)
    assert shown.endswith(f"to see it: lutbench compare monitor.cube '{QUICK}'")


def test_the_command_that_is_shown_shows_it(folder: Path) -> None:
    import shlex

    write_cube(_monitor(1.005), "monitor.cube", force=True)
    show = report("suite.toml", "-k", "exact")["suites"][0]["checks"][0]["show"]
    words = shlex.split(show)
    assert words[0] == "lutbench"
    shown = CliRunner().invoke(group, [*words[1:], "--json"], standalone_mode=False)
    data = json.loads(shown.stdout)
    assert data["sets"]["nodes of 9"]["code_10bit"]["max"] == pytest.approx(5.115)


def test_a_suite_elsewhere(folder: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    run("suite.toml", "--record")
    (tmp_path / "other").mkdir()
    monkeypatch.chdir(tmp_path / "other")
    assert run("../suite.toml").return_value == 0


def test_selection(folder: Path) -> None:
    def names(*args: str) -> list[str]:
        return [each["name"] for each in report("suite.toml", *args)["suites"][0]["checks"]]

    assert names("-k", "exact or GREY") == ["monitor is exact", "grey"]
    assert names("-k", "monitor and not drifted and not science") == ["monitor is exact"]
    assert names("--tag", "day") == ["monitor is exact"]
    assert names("-k", "monitor has not drifted") == ["monitor has not drifted"]
    for nothing in (("-k", "nowhere"), ("--tag", "nigt"), ("--tag", "day", "-k", "grey")):
        with pytest.raises(LutbenchError):
            run("suite.toml", *nothing)


@pytest.mark.parametrize("expression", ["not", "a and", "or a", "a or or b"])
def test_a_selection_that_is_none(expression: str) -> None:
    with pytest.raises(LutbenchError, match="not a selection"):
        name_matches("zzz", expression)


def test_jobs_give_the_same_report(folder: Path) -> None:
    run("suite.toml", "--record")

    def without_time(data: dict) -> list[dict]:
        checks = data["suites"][0]["checks"]
        return [{key: value for key, value in each.items() if key != "seconds"} for each in checks]

    some = ("suite.toml", "-k", "exact or grey or drifted")
    assert without_time(report(*some, "--jobs", "2")) == without_time(report(*some))


def test_several_suites(folder: Path) -> None:
    Path("other.toml").write_text(SUITE.replace("Salt Road & friends", "Other"))
    data = report("suite.toml", "other.toml", "-k", "exact")
    assert [each["title"] for each in data["suites"]] == ["Salt Road & friends", "Other"]


def test_list_runs_nothing(folder: Path) -> None:
    result = run("suite.toml", "--list")
    assert result.return_value == 0
    assert "monitor has not drifted" in result.stdout
    rows = json.loads(run("suite.toml", "--list", "--json").stdout)["checks"]
    assert [row["kind"] for row in rows] == ["reference", "reference", "baseline", "levels"]


def test_text_fits_80_columns(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    for text in (run("suite.toml", "-v").stdout, run("suite.toml").stdout):
        assert all(len(line) <= 100 or "to see it" in line for line in text.splitlines())


# JUnit


def test_junit(folder: Path) -> None:
    write_cube(_monitor(1.005), "monitor.cube", force=True)
    assert run("suite.toml", "--junit", "report.xml").return_value == 1
    parsed = junitparser.JUnitXml.fromfile("report.xml")
    (suite,) = list(parsed)
    assert suite.name == "Salt Road & friends"
    assert (suite.tests, suite.failures, suite.errors) == (4, 2, 1)
    results = {case.name: type(case.result[0]).__name__ for case in suite if case.result}
    assert results == {
        "monitor is exact": "Failure",
        "monitor as colour-science has it": "Failure",
        "monitor has not drifted": "Error",
    }
    failure = next(iter(suite)).result[0]
    assert failure.message == "maximum 10-bit codes 5.115, limit 0.1"
    assert "to see it: lutbench compare" in failure.text


def test_junit_counts_what_it_holds() -> None:
    """Attributes against elements, for a suite of every outcome and an empty one."""
    statuses = ["passed"] * 3 + ["failed"] * 2 + ["error"] + ["recorded"]
    outcomes = [Outcome(str(n), "health", each, each) for n, each in enumerate(statuses)]  # type: ignore[arg-type]
    reports = [Report("one", "a.toml", tuple(outcomes)), Report("two", "b.toml", ())]
    root = ElementTree.fromstring(junit_xml(reports))
    for element in (root, *root.findall("testsuite")):
        for attribute, inside in (
            ("tests", "testcase"),
            ("failures", "failure"),
            ("errors", "error"),
        ):
            assert int(element.get(attribute, "")) == len(list(element.iter(inside)))
    assert [root.get(each) for each in ("tests", "failures", "errors")] == ["7", "2", "1"]
    assert [len(case) for case in root.iter("testcase")] == [1] * 7


def properties_of(file: str) -> dict[str, dict[str, float]]:
    return {
        case.name: {
            each.get("name"): float(each.get("value"))
            for each in case._elem.findall("properties/property")
        }
        for suite in junitparser.JUnitXml.fromfile(file)
        for case in suite
    }


def test_junit_carries_the_figures(folder: Path) -> None:
    write_cube(_monitor(1.005), "monitor.cube", force=True)
    report = json.loads(run("suite.toml", "--junit", "report.xml", "--json").stdout)
    found = properties_of("report.xml")
    some = 0
    for check in report["suites"][0]["checks"]:
        for figure in check["figures"]:
            assert found[check["name"]][f"lutbench {figure['name']}"] == figure["found"]
            assert found[check["name"]][f"lutbench {figure['name']} limit"] == figure["limit"]
            some += 1
    assert some == 3


def test_junit_is_built_like_pytests_own(folder: Path) -> None:
    """pytest writes the dialect that servers read: no element or attribute is ours alone."""
    write_cube(_monitor(1.005), "monitor.cube", force=True)
    run("suite.toml", "--junit", "ours.xml")
    Path("suite.toml").rename("suite.lutbench.toml")
    line = ["-q", "-p", "no:cacheprovider", "--junitxml=theirs.xml", "suite.lutbench.toml"]
    subprocess.run([sys.executable, "-m", "pytest", *line], capture_output=True)

    def built(file: str) -> set[tuple[str, ...]]:
        places = set()
        parents = {None: ElementTree.parse(file).getroot()}
        todo = [((root.tag,), root) for root in parents.values()]
        for path, element in todo:
            places |= {path, *((*path, f"@{name}") for name in element.attrib)}
            todo += [((*path, child.tag), child) for child in element]
        return places

    # pytest tells an error of a test as a failure, and the kind of a failure in its message.
    case = ("testsuites", "testsuite", "testcase")
    ours_alone = {
        (*case, "failure", "@type"),
        *((*case, "error", *rest) for rest in [(), ("@message",), ("@type",)]),
        (*case, "system-out"),
        *(("testsuites", f"@{name}") for name in ("tests", "failures", "errors", "time")),
    }
    assert built("ours.xml") - built("theirs.xml") <= ours_alone
    theirs = {name.split("::")[-1]: told for name, told in properties_of("theirs.xml").items()}
    ours = properties_of("ours.xml")
    assert {n: t for n, t in theirs.items() if t} == {n: t for n, t in ours.items() if t}


def test_junit_of_odd_names(folder: Path) -> None:
    write_suite(SUITE.replace('name = "grey"', 'name = "<grey> & ]]> \\"quoted\\" Ünï"'))
    run("suite.toml", "--junit", "report.xml")
    names = [case.name for case in next(iter(junitparser.JUnitXml.fromfile("report.xml")))]
    assert names[-1] == '<grey> & ]]> "quoted" Ünï'


# Kinds, beyond what the mutations try


def test_values_measured_elsewhere(folder: Path) -> None:
    # BT.1886 (Recommendation ITU-R BT.1886): light 0.18 is signal 0.48944; white is white.
    curve = lutbench.build("linear", "BT.1886", kind="curve", size=4096, dimensions=1)
    write_cube(curve, "curve.cube")
    head = "# from the Recommendation\nr,g,b,r_out,g_out,b_out\n"
    Path("v.csv").write_text(head + "0.18,0.18,0.18,0.48944,0.48944,0.48944\n1,1,1,1,1,1\n")
    keys = 'kind = "reference"\nlut = "curve.cube"\nvalues = "v.csv"\n'
    assert one(keys)["status"] == "passed"
    Path("v.csv").write_text(head + "18,18,18,48.944,48.944,48.944\n")
    assert one(keys + 'unit = "percent"')["status"] == "passed"
    Path("v.csv").write_text(head + "184.14,184.14,184.14,500.7,500.7,500.7\n")
    assert one(keys + 'unit = "code"\nbits = 10')["status"] == "passed"
    assert one(keys + 'unit = "code"\nbits = 12')["status"] == "failed"
    Path("v.csv").write_text(head + "0.18,0.18,0.18,0.48944,0.48944,0.4944\n")
    found = one(keys)
    assert found["status"] == "failed"
    assert "v.csv: in 184.1 184.1 184.1" in found["where"]


def test_legal_values(folder: Path) -> None:
    write_cube(Lut3D.identity(9), "same.cube")
    Path("v.csv").write_text("r,g,b,r_out,g_out,b_out\n64,502,940,64,502,940\n")
    keys = 'kind = "reference"\nlut = "same.cube"\nvalues = "v.csv"\nunit = "code"\n'
    found = one(keys + 'range = "legal"')
    assert found["status"] == "passed"
    assert found["figures"][0]["found"] < 1e-3


def test_levels_in_every_unit(folder: Path) -> None:
    write_cube(Lut3D.identity(9), "same.cube")
    keys = 'kind = "levels"\nlut = "same.cube"\nsource = { curve = "BT.1886", gamut = "BT.709" }\n'
    # 0.48944 (Recommendation ITU-R BT.1886): 500.7 of 1023 full, 64 + 876·0.48944 = 492.7 legal
    for point in (
        "stops = 0, percent = 48.944, within = 0.001",
        "reflectance = 0.18, signal = 0.48944, within = 1e-5",
        "code = 500.7, within = 0.05",
        "code = 124.8, bits = 8, within = 0.05",
        'code = 492.75, range = "legal", within = 0.05',
    ):
        assert one(f"{keys}points = [{{ {point} }}]")["status"] == "passed", point
        off = point.replace("= 4", "= 6").replace("= 0.48", "= 0.58").replace("= 5", "= 6")
        off = off.replace("= 124", "= 134")
        assert one(f"{keys}points = [{{ {off} }}]")["status"] == "failed", off


def test_invariants_of_each_kind(folder: Path) -> None:
    identity = np.asarray(Lut3D.identity(9).table)
    tinted = identity * [1, 1, 0.999]
    fallen = identity.copy()
    fallen[5, 5, 5] = 0.2
    lines = np.linspace(0, 1, 1024)
    off_axis = identity.copy()
    off_axis[5, 2, 1, 0] = 0.2
    cases = {
        "neutral": (tinted, "neutral"),
        "monotone": (fallen, "monotone"),
        "monotone_channels": (off_axis, "monotone_channels"),
        "within_range": (identity + 0.01, "within_range"),
    }
    for name, (table, hold) in cases.items():
        keys = f'kind = "invariants"\nlut = "x.cube"\nhold = ["{hold}"]'
        write_cube(Lut3D(identity), "x.cube", force=True)
        assert one(keys)["status"] == "passed", name
        write_cube(Lut3D(table), "x.cube", force=True)
        assert one(keys)["status"] == "failed", name
    # Round trip: a power and its inverse; a 1D LUT and its own.
    write_cube(Lut1D(np.repeat(lines[:, None] ** 1.2, 3, axis=1)), "x.cube", force=True)
    write_cube(Lut1D(np.repeat(lines[:, None] ** 0.9, 3, axis=1)), "y.cube")
    keys = 'kind = "invariants"\nlut = "x.cube"\nhold = ["round_trip"]\n'
    assert one(keys)["status"] == "passed"
    assert one(keys + 'inverse = "y.cube"')["status"] == "failed"
    write_cube(Lut3D.identity(9), "x.cube", force=True)
    assert one(keys + 'inverse = "x.cube"')["status"] == "passed"


def test_health(folder: Path) -> None:
    identity = np.asarray(Lut3D.identity(17).table)
    write_cube(Lut3D(identity), "x.cube")
    keys = 'kind = "health"\nlut = "x.cube"\n'
    assert one(keys)["status"] == "passed"
    write_cube(Lut3D(identity * [1, 1, 0.97]), "x.cube", force=True)
    found = one(keys)
    assert found["status"] == "failed"
    assert "tint" in found["summary"]
    assert found["show"] == "lutbench inspect x.cube"
    assert one(keys + 'forbid = ["tint"]')["status"] == "failed"
    assert one(keys + 'forbid = ["fold", "banding"]')["status"] == "passed"
    assert one(keys + 'allow = ["tint"]')["status"] == "passed"
    assert one(keys + "limits = { tint = 40 }")["status"] == "passed"
    assert one(keys + 'severity = "error"')["status"] == "passed"


def test_health_of_what_cannot_be_looked_at(folder: Path) -> None:
    keys = 'kind = "health"\nlut = "monitor.cube"\nforbid = ["hue_shift"]\n'
    found = one(keys)
    assert found["status"] == "error"
    assert "source" in found["summary"]
    assert "cannot" not in one(keys + 'source = { curve = "ACEScct", gamut = "ACEScg" }')["summary"]


def test_a_stored_lut_of_another_size_or_domain(folder: Path) -> None:
    keys = 'kind = "baseline"\nlut = "x.cube"\nbaseline = "b/{}"'
    write_cube(Lut3D.identity(9), "x.cube")
    for name in ("x.csv", "x.cube"):
        write_suite(f'[[check]]\nname = "one"\n{keys.format(name)}')
        assert run("suite.toml", "--record").return_value == 0
        assert one(keys.format(name))["status"] == "passed"
    for other in (Lut3D.identity(10), Lut1D(np.zeros((9, 3)))):
        write_cube(other, "x.cube", force=True)
        for name in ("x.csv", "x.cube"):
            assert one(keys.format(name))["status"] == "failed"
    write_cube(Lut3D(Lut3D.identity(9).table, [[0, 0, 0], [2, 2, 2]]), "x.cube", force=True)
    for name in ("x.csv", "x.cube"):
        assert one(keys.format(name))["status"] == "failed"


def test_a_baseline_reads_well_and_is_small(folder: Path) -> None:
    run("suite.toml", "--record")
    text = Path("baselines/monitor.csv").read_text()
    lines = text.splitlines()
    assert lines[0] == "# lutbench baseline 1"
    assert lines[1] == f"# made by: lutbench {lutbench.__version__}"
    assert len(text) < 40_000
    assert "dark skin" in text
    # The same again gives the same bytes.
    run("suite.toml", "--record", "--force")
    assert Path("baselines/monitor.csv").read_text() == text
    # One node that moved changes a few lines, not all.
    table = np.asarray(_monitor().table).copy()
    table[0, 4, 8, 1] += 0.01
    write_cube(Lut3D(table), "monitor.cube", force=True)
    run("suite.toml", "--record", "--force")
    changed = set(Path("baselines/monitor.csv").read_text().splitlines()) - set(lines)
    assert 2 <= len(changed) <= 8


def test_recording_replaces_nothing_unasked(folder: Path) -> None:
    run("suite.toml", "--record")
    write_cube(_monitor(0.9), "monitor.cube", force=True)
    before = Path("baselines/monitor.csv").read_bytes()
    assert run("suite.toml", "--record").return_value == 1
    assert Path("baselines/monitor.csv").read_bytes() == before
    assert run("suite.toml", "--record", "--force").return_value == 0
    assert Path("baselines/monitor.csv").read_bytes() != before
    with pytest.raises(LutbenchError, match="can be recorded"):
        run("suite.toml", "--record", "-k", "grey")


def test_stops_that_no_light_has_are_refused(folder: Path) -> None:
    keys = 'kind = "levels"\nlut = "monitor.cube"\n'
    for stops in ("2000", "-2000"):
        write_suite(f'[[check]]\nname = "a"\n{keys}points = [{{ stops = {stops}, percent = 1 }}]')
        with pytest.raises(LutbenchError, match=r"out of range; accepted: -20 to 20"):
            run("suite.toml")


@pytest.mark.parametrize("name", ["../elsewhere.csv", "/tmp/elsewhere.csv", "link/elsewhere.csv"])
def test_a_suite_records_into_its_own_folder_only(name: str, folder: Path) -> None:
    """A suite may come from somebody else; with one such check nothing is recorded at all."""
    (folder / "own").mkdir()
    (folder / "own" / "link").symlink_to(folder)
    Path("own/monitor.cube").write_bytes(Path("monitor.cube").read_bytes())
    baseline = '[[check]]\nname = "{0}"\nkind = "baseline"\nlut = "monitor.cube"\n'
    baseline += 'baseline = "{0}"\n'
    Path("own/suite.toml").write_text(baseline.format("fine.csv") + baseline.format(name))
    with pytest.raises(LutbenchError, match="is outside the folder of the suite"):
        run("own/suite.toml", "--record", "--force")
    assert sorted(each.name for each in folder.rglob("*.csv")) == []
    assert not Path("/tmp/elsewhere.csv").exists()


def test_bytes_by_digest(folder: Path) -> None:
    import hashlib

    Path("day.toml").write_text(
        'size = 5\nsource = { curve = "ACEScct", gamut = "ACEScg" }\n'
        'target = { curve = "BT.1886", gamut = "BT.709" }\n[[lut]]\nname = "monitor"\n'
    )
    built = CliRunner().invoke(group, ["build", "day.toml", "-o", "out"], standalone_mode=False)
    assert built.exception is None
    digest = hashlib.sha256(Path("out/monitor.cube").read_bytes()).hexdigest()
    keys = 'kind = "bytes"\nlut = "day.toml#monitor"\n'
    assert one(f'{keys}sha256 = "{digest}"')["status"] == "passed"
    assert one(f'{keys}sha256 = "{"0" * 64}"')["status"] == "failed"
    assert one(f'{keys}file = "out/monitor.cube"')["status"] == "passed"
    Path("day.toml").write_text(Path("day.toml").read_text() + "exposure = 0.1\n")
    assert one(f'{keys}sha256 = "{digest}"')["status"] == "failed"


def test_picture_of_another_size(folder: Path) -> None:
    write_still(Still(np.zeros((4, 4, 3), np.uint16), ("R", "G", "B"), "16"), "a.tif")
    write_still(Still(np.zeros((4, 5, 3), np.uint16), ("R", "G", "B"), "16"), "b.tif")
    found = one('kind = "picture"\nlut = "monitor.cube"\nstill = "a.tif"\nstored = "b.tif"')
    assert found["status"] == "failed"
    assert "4 by 4" in found["summary"]


# Trust: what compares nothing fails


NOTHING = {
    "missing LUT": 'kind = "reference"\nlut = "no.cube"\nexact = "monitor.cube"',
    "missing reference": 'kind = "reference"\nlut = "monitor.cube"\nexact = "no.cube"',
    "missing values": 'kind = "reference"\nlut = "monitor.cube"\nvalues = "no.csv"',
    "missing baseline": 'kind = "baseline"\nlut = "monitor.cube"\nbaseline = "no.csv"',
    "missing still": 'kind = "picture"\nlut = "monitor.cube"\nstill = "n.png"\nstored = "m.png"',
    "missing file": 'kind = "bytes"\nlut = "no.toml#x"\nfile = "monitor.cube"',
    "infinite limit": f'kind = "reference"\nlut = "monitor.cube"\nexact = "{QUICK}"\n'
    "limits = { code_10bit = inf }",
    "NaN limit": f'kind = "reference"\nlut = "monitor.cube"\nexact = "{QUICK}"\n'
    "limits = { delta_e_2000 = nan }",
    "negative limit": f'kind = "reference"\nlut = "monitor.cube"\nexact = "{QUICK}"\n'
    "limits = { delta_e_2000 = -1 }",
    "no limit": f'kind = "reference"\nlut = "monitor.cube"\nexact = "{QUICK}"\nlimits = {{}}',
    "no colours": f'kind = "reference"\nlut = "monitor.cube"\nexact = "{QUICK}"\ncolours = []',
    "no points": 'kind = "levels"\nlut = "monitor.cube"\n'
    'source = { curve = "ACEScct", gamut = "ACEScg" }\npoints = []',
    "infinite within": 'kind = "levels"\nlut = "monitor.cube"\n'
    'source = { curve = "ACEScct", gamut = "ACEScg" }\npoints = [{ percent = 1, within = inf }]',
    "no invariant": 'kind = "invariants"\nlut = "monitor.cube"\nhold = []',
    "no finding": 'kind = "health"\nlut = "monitor.cube"\nforbid = []',
    "infinite health limit": 'kind = "health"\nlut = "monitor.cube"\nlimits = { tint = inf }',
    "no curve points": 'kind = "curve"\ncurve = "BT.709"\npoints = []',
    "nodes of a pipeline": f'kind = "reference"\nlut = "{QUICK}"\nexact = "{QUICK}"\n'
    'colours = ["nodes"]',
}


@pytest.mark.parametrize("case", NOTHING)
def test_a_check_that_compares_nothing_fails(folder: Path, case: str) -> None:
    assert one(NOTHING[case])["status"] == "error"


@pytest.mark.parametrize("text", ["", "r,g,b\n0,0,0\n", "r,g,b,r_out,g_out,b_out\n"])
def test_values_that_are_none(folder: Path, text: str) -> None:
    Path("v.csv").write_text(text)
    assert one('kind = "reference"\nlut = "monitor.cube"\nvalues = "v.csv"')["status"] == "error"


@pytest.mark.parametrize("value", ["nan", "inf", "", "x"])
def test_values_that_are_not_finite(folder: Path, value: str) -> None:
    Path("v.csv").write_text(f"r,g,b,r_out,g_out,b_out\n0,0,0,0,0,{value}\n")
    found = one('kind = "reference"\nlut = "monitor.cube"\nvalues = "v.csv"')
    assert found["status"] == "error"
    assert "v.csv:2" in found["summary"]


def test_nan_on_both_sides_is_no_match(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from lutbench.recipes import subjects

    real = subjects.open_subject

    def broken(text: str, *args: object) -> subjects.NamedTransform:
        found = real(text, *args)  # type: ignore[arg-type]
        table = np.asarray(found.transform.table)

        class Nan(type(found.transform)):  # type: ignore[misc]
            def apply(self, rgb: np.ndarray, *args: object, **options: object) -> np.ndarray:
                return np.full(np.shape(rgb), np.nan)

        return subjects.NamedTransform(text, Nan(table))

    monkeypatch.setattr("lutbench.checks.base.open_subject", broken)
    Path("other.cube").write_bytes(Path("monitor.cube").read_bytes())
    found = one('kind = "reference"\nlut = "monitor.cube"\nexact = "other.cube"')
    assert found["status"] == "error"
    assert "NaN" in found["summary"]


@pytest.mark.parametrize("name", ["b.csv", "b.cube"])
@pytest.mark.parametrize("harm", ["value", "digest", "cut", "other", "empty"])
def test_a_corrupt_baseline_is_an_error(folder: Path, name: str, harm: str) -> None:
    keys = f'kind = "baseline"\nlut = "monitor.cube"\nbaseline = "{name}"'
    write_suite(f'[[check]]\nname = "one"\n{keys}')
    run("suite.toml", "--record")
    data = Path(name).read_bytes()
    harmed = {
        "value": data.replace(b"1.000000", b"1.000001", 1),
        "digest": data.replace(b"sha256: ", b"sha256: f", 1),
        "cut": data[: len(data) // 2],
        "other": b"LUT_3D_SIZE 2\n" + b"0 0 0\n" * 8,
        "empty": b"",
    }[harm]
    assert harmed != data
    Path(name).write_bytes(harmed)
    assert one(keys)["status"] == "error"


def test_a_baseline_with_turned_line_ends_still_fits(folder: Path) -> None:
    for name in ("b.csv", "b.cube"):
        keys = f'kind = "baseline"\nlut = "monitor.cube"\nbaseline = "{name}"'
        write_suite(f'[[check]]\nname = "one"\n{keys}')
        run("suite.toml", "--record")
        Path(name).write_bytes(Path(name).read_bytes().replace(b"\n", b"\r\n"))
        assert one(keys)["status"] == "passed"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "0 checks"),
        ("[[check]]\n", "name"),
        ('[[check]]\nname = "x"\n', "kind"),
        ('[[check]]\nname = "x"\nkind = "refrence"\n', "reference"),
        ('[[check]]\nname = "x"\nkind = "reference"\nlut = "a"\n', "none of exact"),
        (
            '[[check]]\nname = "x"\nkind = "reference"\nlut = "a"\nexact = "b"\nvalues = "c"',
            "one of",
        ),
        ('[[check]]\nname = "x"\nkind = "bytes"\nlut = "a.cube"\nfile = "b"', "RECIPE.toml#NAME"),
        (
            '[[check]]\nname = "x"\nkind = "baseline"\nlut = "a"\nbaseline = "b"\n'
            "limits = { delta_e = 1 }",
            "delta_e_2000",
        ),
        (
            '[[check]]\nname = "x"\nkind = "baseline"\nlut = "a"\nbaseline = "b"\nbasline = "c"',
            "basline",
        ),
        ('[[check]]\nname = "x"\nkind = "health"\nlut = "a"\nforbid = ["tnt"]', "tint"),
        (
            '[[check]]\nname = "x"\nkind = "health"\nlut = "a"\n'
            'forbid = ["tint"]\nallow = ["fold"]',
            "only forbid",
        ),
        (SUITE + SUITE.split("\n\n", 1)[1], "two checks"),
        ("not toml", "suite.toml"),
    ],
)
def test_a_suite_that_cannot_be_used(folder: Path, text: str, message: str) -> None:
    write_suite(text)
    with pytest.raises(LutbenchError, match=message):
        run("suite.toml")


def test_arguments_that_say_nothing(folder: Path) -> None:
    with pytest.raises(LutbenchError, match="no suite"):
        run()
    with pytest.raises(LutbenchError, match="--self"):
        run("--self", "suite.toml")


# The installation


def test_the_installation() -> None:
    data = report("--self")
    assert data["passed"]
    kinds = {each["kind"] for each in data["suites"][0]["checks"]}
    assert {"curve", "matrix", "registry", "reference", "invariants"} <= kinds


def test_a_damaged_installation(monkeypatch: pytest.MonkeyPatch) -> None:
    from lutbench.model.curves import log, video

    monkeypatch.setattr(video.Bt709, "_encode", lambda self, light: 1.1 * np.sqrt(light) - 0.1)
    curve = log.AcesCct()
    real = type(curve)._encode
    monkeypatch.setattr(type(curve), "_encode", lambda self, light: real(self, light * 1.001))
    failed = {
        each["name"]
        for each in report("--self", "--tag", "curves")["suites"][0]["checks"]
        if each["status"] != "passed"
    }
    assert failed == {
        "BT.709 OETF",
        "BT.2020 OETF, 12 bit",  # the same curve with finer constants
        "ACEScct",
        "every curve against colour-science",
    }


def test_a_published_matrix_that_is_another(folder: Path) -> None:
    # Recommendation ITU-R BT.2087: BT.709 to BT.2020, four decimals.
    rows = "[[0.6274, 0.3293, 0.0433], [0.0691, 0.9195, 0.0114], [0.0164, 0.0880, {}]]"
    keys = 'kind = "matrix"\nsource = "BT.709"\ntarget = "BT.2020"\nrows = '
    assert one(keys + rows.format("0.8956"))["status"] == "passed"
    found = one(keys + rows.format("0.8957"))
    assert found["status"] == "failed"
    assert "row 3 column 3 is 0.895595" in found["summary"]


def test_a_damaged_adaptation(monkeypatch: pytest.MonkeyPatch) -> None:
    from lutbench.model import gamuts

    turned = {**gamuts.ADAPTATIONS, "cat02": gamuts.ADAPTATIONS["cat16"]}
    monkeypatch.setattr(gamuts, "ADAPTATIONS", turned)
    checks = report("--self", "--tag", "gamuts")["suites"][0]["checks"]
    failed = {each["name"]: each["summary"] for each in checks if each["status"] != "passed"}
    assert list(failed) == ["every gamut against colour-science"]
    assert "cat02" in failed["every gamut against colour-science"]


def test_a_row_of_a_curve_that_moved(folder: Path) -> None:
    rows = np.repeat(np.linspace(0, 1, 1024)[:, None] ** 1.2, 3, axis=1)
    moved = rows.copy()
    moved[501, 2] += 1 / 1023
    shaped = ShaperLut3D(Lut1D(rows), Lut3D.identity(9))
    for sound, damaged in (
        (Lut1D(rows), Lut1D(moved)),
        (shaped, ShaperLut3D(Lut1D(moved), Lut3D.identity(9))),
    ):
        for name in ("b.csv", "b.cube"):
            keys = f'kind = "baseline"\nlut = "x.cube"\nbaseline = "{name}"'
            write_suite(f'[[check]]\nname = "one"\n{keys}')
            write_cube(sound, "x.cube", force=True)
            run("suite.toml", "--record", "--force")
            assert one(keys)["status"] == "passed"
            write_cube(damaged, "x.cube", force=True)
            found = one(keys)
            assert found["status"] == "failed", (sound, name)
            assert "rows 16" in found["where"] or name == "b.cube"
