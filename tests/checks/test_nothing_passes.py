"""A suite cannot pass on nothing: absurd limits, a thing compared with itself, words unknown.

Suites are made at random by what each kind of check takes; with a sound subject each
passes, with a damaged one each fails.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from known_damage import sound_lut, write_project

from lutbench.checks.kinds import KINDS
from lutbench.checks.runner import Outcome, run_check
from lutbench.checks.suite import read_suite
from lutbench.cli.main import main
from lutbench.errors import LutbenchError
from lutbench.formats.cube_write import write_cube
from lutbench.inspection.registry import codes, kinds
from lutbench.media.still.still import Still, read_still, write_still
from lutbench.tables.lut import Lut3D
from lutbench.testing import assert_lut_close, assert_matches_reference


@pytest.fixture(scope="module")
def project(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("project")
    write_project(folder)
    (folder / "copy.cube").write_bytes((folder / "monitor.cube").read_bytes())
    os.link(folder / "monitor.cube", folder / "linked.cube")
    (folder / "symbolic.cube").symlink_to("monitor.cube")
    return folder


def checked(folder: Path, keys: str, *, record: bool = False) -> Outcome:
    """What a suite of one check says."""
    path = folder / "one.toml"
    path.write_text(f'[[check]]\nname = "one"\n{keys}')
    suite = read_suite(path)
    return run_check(suite.checks[0], suite.context(record=record))


ENDS = 'source = { curve = "ACEScct", gamut = "ACEScg" }\n'
REFERENCE = 'kind = "reference"\nlut = "monitor.cube"\nexact = "day.toml#monitor; exact"\n'
LEVELS = f'kind = "levels"\nlut = "monitor.cube"\n{ENDS}'
MATRIX = 'kind = "matrix"\nsource = "BT.709"\ntarget = "BT.2020"\n'
CURVE = 'kind = "curve"\ncurve = "BT.709"\npoints = [[0.18, 0.409]]\n'

ABSURD = {
    "codes": REFERENCE + "limits = { code_10bit = 1e12 }",
    "codes over the scale": REFERENCE + "limits = { code_10bit_mean = 1023.5 }",
    "codes of the whole scale": REFERENCE + "limits = { code_10bit = 1023 }",
    "ΔE": REFERENCE + "limits = { delta_e_2000_p95 = 100 }",
    "ΔE ITP": REFERENCE + "limits = { delta_e_itp = 720 }",
    "one of two": REFERENCE + "limits = { code_10bit = 1, delta_e_2000 = 1e9 }",
    "baseline": 'kind = "baseline"\nlut = "monitor.cube"\nbaseline = "monitor.csv"\n'
    "limits = { part_mean_code_10bit = 1e6 }",
    "invariant": 'kind = "invariants"\nlut = "monitor.cube"\nlimits = { neutral = 1e12 }',
    "codes of a finding": 'kind = "health"\nlut = "monitor.cube"\nlimits = { tint = 1e12 }',
    "degrees of a finding": 'kind = "health"\nlut = "monitor.cube"\nlimits = { hue_shift = 180 }',
    "jumps of a finding": 'kind = "health"\nlut = "monitor.cube"\nlimits = { false_colour = 1e12 }',
    "signal of a finding": 'kind = "health"\nlut = "monitor.cube"\n'
    "limits = { integer_values = 1e9 }",
    "share of a finding": 'kind = "health"\nlut = "monitor.cube"\n'
    "limits = { clipped_highlights = 1 }",
    # From 40 %, 0 and 100 % are at most 60 away.
    "percent": LEVELS + "points = [{ percent = 40, within = 60 }]",
    "signal": LEVELS + "points = [{ signal = 0.4, within = 0.6 }]",
    "code": LEVELS + "points = [{ code = 100, bits = 8, within = 155 }]",
    "matrix": MATRIX + "rows = [[1, 0, 0], [0, 1, 0], [0, 0, 1]]\nwithin = 1e6",
    "curve": CURVE + "within = 0.6",
    "a truth value": REFERENCE + "limits = { code_10bit = true }",
    "a text": REFERENCE + 'limits = { code_10bit = "1" }',
}


@pytest.mark.parametrize("case", ABSURD)
def test_a_limit_that_lets_everything_pass_fails(project: Path, case: str) -> None:
    found = checked(project, ABSURD[case])
    assert found.status == "error"
    assert "checks nothing" in found.summary or "not a number" in found.summary


ITSELF = {
    "by its name": ("monitor.cube", "monitor.cube"),
    "by another way": ("monitor.cube", "./../PROJECT/monitor.cube"),
    "by a hard link": ("monitor.cube", "linked.cube"),
    "by a symbolic link": ("symbolic.cube", "monitor.cube"),
    "a recipe's LUT": ("day.toml#monitor", "day.toml"),
    "a pipeline": ("ACEScct, ACEScg to BT.1886, BT.709", "acescct,ACEScg  to BT.1886, BT.709"),
    "a pipeline in other words": (
        "ACEScct, ACEScg to BT.1886, BT.709",
        "ACEScct, ACES AP1 to BT.1886, ITU-R BT.709; exposure=0",
    ),
}


@pytest.mark.parametrize("case", ITSELF)
def test_a_reference_check_of_a_thing_against_itself_fails(project: Path, case: str) -> None:
    lut, exact = (each.replace("PROJECT", project.name) for each in ITSELF[case])
    found = checked(project, f'kind = "reference"\nlut = "{lut}"\nexact = "{exact}"')
    assert found.status == "error"
    assert "compared with itself" in found.summary


def test_assertions_of_a_thing_against_itself_are_refused(
    project: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(project)
    lut = sound_lut()
    pairs = [(lut, lut), *ITSELF.values()]
    for given in pairs:
        a, b = (x.replace("PROJECT", project.name) if isinstance(x, str) else x for x in given)
        for check in (assert_lut_close, assert_matches_reference):
            with pytest.raises(LutbenchError, match="compared with itself"):
                check(a, b)
    assert_lut_close(lut, Lut3D(lut.table, lut.domain, lut.title))


def test_a_limit_on_a_comparison_with_itself_is_refused(
    project: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(project)
    same = ["compare", "monitor.cube", "linked.cube"]
    too_high = ["--limit-codes", "255", "--bits", "8"]
    for args, told in (
        ([*same, "--limit-delta-e", "0.5"], "compared with itself"),
        (["compare", "monitor.cube", "copy.cube", *too_high], "accepted: 0 to less than 255"),
        (["compare", "monitor.cube", "copy.cube", "--limit-delta-e", "100"], "less than 100"),
    ):
        with pytest.raises(SystemExit) as end:
            main(args)
        assert end.value.code == 2
        assert told in capsys.readouterr().err


def test_a_copy_is_another_file(project: Path) -> None:
    keys = 'kind = "reference"\nlut = "monitor.cube"\nexact = "copy.cube"'
    assert checked(project, keys).status == "passed"


def test_a_baseline_and_a_picture_are_not_their_own(project: Path) -> None:
    for name in ("monitor.cube", "linked.cube"):
        found = checked(project, f'kind = "baseline"\nlut = "monitor.cube"\nbaseline = "{name}"')
        assert found.status == "error"
        assert "its own baseline" in found.summary
    keys = 'kind = "picture"\nlut = "monitor.cube"\nstill = "picture.tif"\nstored = "picture.tif"'
    found = checked(project, keys)
    assert found.status == "error"
    assert "its own result" in found.summary


def test_a_changed_alpha_is_another_picture(project: Path) -> None:
    pixels = np.full((4, 4, 4), 30000, np.uint16)
    write_still(Still(pixels, ("R", "G", "B", "A"), "16"), project / "alpha.png")
    keys = 'kind = "picture"\nlut = "monitor.cube"\nstill = "alpha.png"\nstored = "seen.png"'
    assert checked(project, keys, record=True).status == "recorded"
    assert checked(project, keys).status == "passed"
    seen = read_still(project / "seen.png")
    moved = seen.pixels + np.array([0, 0, 0, 100], np.uint16)
    for kept, channels in ((moved, "RGBA"), (seen.pixels[..., :3], "RGB")):
        write_still(Still(kept, tuple(channels), "16"), project / "seen.png", force=True)
        found = checked(project, keys)
        assert found.status == "failed"
        assert "alpha" in found.summary


def test_what_could_not_be_read_again_is_not_recorded(project: Path) -> None:
    write_cube(Lut3D(np.full((3, 3, 3, 3), 3e38)), project / "huge.cube", force=True)
    keys = 'kind = "baseline"\nlut = "huge.cube"\nbaseline = "huge.csv"'
    found = checked(project, keys, record=True)
    assert found.status == "error"
    assert "cannot be recorded" in found.summary
    assert not (project / "huge.csv").exists()


def test_a_health_check_that_cannot_fail_is_refused(project: Path) -> None:
    """What is left after `allow` must be able to reach the severity that is looked for."""
    graver = {each.code for each in kinds() if (each.severest or each.severity) != "info"}
    never = set(codes()) - graver
    mild = {each.code for each in kinds()} - {"non_monotonic"}  # which may be an error
    for severity, allowed, told in (
        ("warning", set(codes()) - never, "none of "),
        ("error", {each.code for each in kinds() if each.severity == "error"} | mild, ""),
        ("error", set(codes()) - {"tint"}, "none of tint is ever of severity 'error'"),
        ("info", set(codes()) - {"lifted_black"}, ""),
    ):
        names = ", ".join(f'"{each}"' for each in sorted(allowed))
        keys = f'kind = "health"\nlut = "monitor.cube"\nseverity = "{severity}"\nallow = [{names}]'
        found = checked(project, keys)
        assert found.status == ("error" if told else "passed")
        assert told in found.summary


UNUSABLE = {
    "rows of truth values": MATRIX + "rows = [[true, false, false], [0, 1, 0], [0, 0, 1]]",
    "rows of texts": MATRIX + 'rows = [["1", "0", "0"], ["0", "1", "0"], ["0", "0", "1"]]',
    "nine numbers in one row": MATRIX + "rows = [1, 0, 0, 0, 1, 0, 0, 0, 1]",
    "rows of another number": MATRIX + "rows = [[1, 0], [0, 1]]",
    "a row that is not finite": MATRIX + "rows = [[inf, 0, 0], [0, 1, 0], [0, 0, 1]]",
    "a level of NaN": LEVELS + "points = [{ stops = 0, percent = nan }]",
    "a signal of NaN": 'kind = "curve"\ncurve = "BT.709"\npoints = [[0.18, nan]]',
    "light that nothing gives": LEVELS + "points = [{ reflectance = 1e12, percent = 100 }]",
    "light under nothing": LEVELS + "points = [{ reflectance = -0.2, percent = 0 }]",
    "stops that nothing has": LEVELS + "points = [{ stops = 21, percent = 100 }]",
    "a key of a check": REFERENCE + "tolerance = 3",
    "a key of a point": LEVELS + "points = [{ percent = 40, withn = 3 }]",
    "a key of an end": 'kind = "levels"\nlut = "monitor.cube"\npoints = [{ percent = 1 }]\n'
    'source = { curve = "ACEScct", gamut = "ACEScg", depth = 10 }',
    "a limit": REFERENCE + "limits = { codes = 1 }",
    "a set of colours": REFERENCE + 'colours = ["greys"]',
    "an invariant": 'kind = "invariants"\nlut = "monitor.cube"\nhold = ["neutrl"]',
    "a finding": 'kind = "health"\nlut = "monitor.cube"\nallow = ["tnt"]',
    "a severity": 'kind = "health"\nlut = "monitor.cube"\nseverity = "fatal"',
    "a range": LEVELS + 'target_range = "video"\npoints = [{ percent = 1 }]',
    "a limit of what is not held": 'kind = "invariants"\nlut = "monitor.cube"\n'
    'hold = ["neutral"]\nlimits = { monotone = 0.1 }',
    "an inverse without a round trip": 'kind = "invariants"\nlut = "monitor.cube"\n'
    'hold = ["neutral"]\ninverse = "copy.cube"',
    "a limit of what is not looked for": 'kind = "health"\nlut = "monitor.cube"\n'
    'forbid = ["tint"]\nlimits = { fold = 0.1 }',
    "a limit of what is allowed": 'kind = "health"\nlut = "monitor.cube"\n'
    'allow = ["tint"]\nlimits = { tint = 2 }',
    "a unit without values": REFERENCE + 'unit = "code"',
    "colours beside values": 'kind = "reference"\nlut = "monitor.cube"\nvalues = "none.csv"\n'
    'colours = ["neutral"]',
    "a range of a percentage": LEVELS + 'points = [{ percent = 48.9, range = "legal" }]',
    "an interpolation": 'kind = "picture"\nlut = "monitor.cube"\nstill = "picture.tif"\n'
    'stored = "through.tif"\ninterpolation = "nearest"',
    "a digest": 'kind = "bytes"\nlut = "day.toml"\nsha256 = "12"',
    "a kind": 'kind = "refrence"\nlut = "monitor.cube"',
    "a kind unlike any": 'kind = "zzz"\nlut = "monitor.cube"',
    "no kind": 'lut = "monitor.cube"',
}


@pytest.mark.parametrize("case", UNUSABLE)
def test_a_setting_that_means_nothing_is_refused(project: Path, case: str) -> None:
    with pytest.raises(LutbenchError, match=r"accepted|out of range"):
        # Some settings are tried when the check runs: it then fails, and the reason is told.
        raise LutbenchError(checked(project, UNUSABLE[case]).summary)


def test_a_pattern_that_no_file_fits_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    for args in (["verify", "suites/*.toml"], ["verify", "-k", "nothing", "*.toml"], ["verify"]):
        with pytest.raises(SystemExit) as end:
            main(args)
        assert end.value.code == 2
        assert capsys.readouterr().err.count("\n") == 1


# --- suites by schema ------------------------------------------------------------------

Random = np.random.Generator


def _some(rng: Random, *lines: str) -> str:
    return "".join(f"{line}\n" for line in lines if rng.random() < 0.5)


def _limits(rng: Random) -> str:
    names = ["code_10bit", "code_10bit_p99", "delta_e_2000", "delta_e_itp_mean"]
    chosen = rng.permutation(names)[: int(rng.integers(1, 4))]
    given = ", ".join(f"{name} = {rng.uniform(0.2, 0.4):.3f}" for name in chosen)
    return f"limits = {{ {given} }}"


def _reference(rng: Random) -> str:
    sets = rng.choice(['colours = ["nodes"]', 'colours = ["nodes", "neutral"]'])
    against = rng.choice(['exact = "day.toml#monitor"', 'exact = "copy.cube"'])
    return f'lut = "monitor.cube"\n{against}\n{_limits(rng)}\n' + _some(rng, str(sets))


def _baseline(rng: Random) -> str:
    name = rng.choice(["monitor.csv", "stored.cube"])
    return f'lut = "monitor.cube"\nbaseline = "{name}"\n{ENDS}' + _some(rng, _limits(rng))


def _health(rng: Random) -> str:
    what = rng.choice(['forbid = ["tint"]', 'forbid = ["tint", "noise"]', 'severity = "warning"'])
    return f'lut = "monitor.cube"\n{what}\n{ENDS}' + _some(rng, "limits = { tint = 2.0 }")


def _levels(rng: Random) -> str:
    # BT.1886 of light 0.18 and of twice as much: Recommendation ITU-R BT.1886.
    stops, percent = [(0, 48.944), (1, 65.332)][int(rng.integers(2))]
    unit, value = [("percent", percent), ("signal", percent / 100)][int(rng.integers(2))]
    within = {"percent": 0.3, "signal": 0.003}[unit]
    point = f"{{ stops = {stops}, {unit} = {value:.5f}, within = {within} }}"
    return f'lut = "monitor.cube"\n{ENDS}points = [{point}]\n'


def _invariants(rng: Random) -> str:
    more = ["monotone", "monotone_channels", "within_range"]
    held = ["neutral", *rng.permutation(more)[: int(rng.integers(0, 4))]]
    names = ", ".join(f'"{each}"' for each in held)
    return f'lut = "monitor.cube"\nhold = [{names}]\n' + _some(rng, "limits = { neutral = 0.5 }")


def _bytes(rng: Random) -> str:
    return 'lut = "day.toml#monitor"\nfile = "monitor.cube"\n'


def _picture(rng: Random) -> str:
    keys = 'lut = "monitor.cube"\nstill = "picture.tif"\nstored = "through.tif"\n'
    return keys + _some(rng, 'interpolation = "tetrahedral"', "limits = { delta_e_2000 = 0.2 }")


OF_LUTS: dict[str, Callable[[Random], str]] = {
    "reference": _reference,
    "baseline": _baseline,
    "health": _health,
    "levels": _levels,
    "invariants": _invariants,
    "bytes": _bytes,
    "picture": _picture,
}
OF_THE_MODEL = ("curve", "matrix", "registry")
OF_THE_FILE = ("written", "manifest")
"""What the project writes is no damage to these: tests/formats/test_digest.py, test_manifest.py."""

OF_THE_MACHINE = ("compiled",)
"""It has no subject: test_compiled.py."""


def test_every_kind_is_here() -> None:
    assert {*OF_LUTS, *OF_THE_MODEL, *OF_THE_FILE, *OF_THE_MACHINE} == set(KINDS)


@pytest.mark.parametrize("kind", OF_LUTS)
def test_suites_at_random_pass_sound_subjects_and_fail_damaged_ones(
    project: Path, kind: str
) -> None:
    rng = np.random.default_rng(list(kind.encode()))
    sound = sound_lut()
    harmed = Lut3D(np.asarray(sound.table) * [1, 1, 0.9], sound.domain, sound.title, sound.comments)
    common = ['tags = ["day"]', 'reason = "because"']
    for _ in range(3):
        keys = f'kind = "{kind}"\n{OF_LUTS[kind](rng)}' + _some(rng, *common)
        for lut, status in ((sound, "passed"), (harmed, "failed")):
            write_cube(lut, project / "monitor.cube", force=True)
            found = checked(project, keys)
            assert found.status == status, f"{keys}\n{found.summary}"
            assert found.summary
    write_cube(sound, project / "monitor.cube", force=True)


# The curve at 18 %: Recommendation ITU-R BT.709-6, item 1.2 gives 1.099·0.18^0.45 - 0.099.
# The matrix: Recommendation ITU-R BT.2087-0, 2.
BT2087 = "rows = [[0.6274, 0.3293, 0.0433], [0.0691, 0.9195, 0.0114], [0.0164, 0.0880, 0.8956]]"
POINT = 1.099 * 0.18**0.45 - 0.099


@pytest.mark.parametrize("off", [1e-3, -0.02, 0.5])
def test_a_published_value_that_is_another_fails(project: Path, off: float) -> None:
    curve = 'kind = "curve"\ncurve = "BT.709"\npoints = [[0.18, {0}]]'
    assert checked(project, curve.format(POINT)).status == "passed"
    assert checked(project, curve.format(POINT + off)).status == "failed"
    assert checked(project, MATRIX + BT2087).status == "passed"
    other = BT2087.replace("0.0691", str(0.0691 + off))
    assert checked(project, MATRIX + other).status == "failed"
