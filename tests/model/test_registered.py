"""The kept registries: near the functions, made anew when they change, trusted with care."""

from __future__ import annotations

import os
import stat
import subprocess
import sys
import warnings
from collections.abc import Iterator
from pathlib import Path

import colour
import numpy as np
import pytest

from lutbench.model import catalogue, registered
from lutbench.model.kept import only_ours
from lutbench.model.registered import (
    FUNCTIONS,
    LIMIT,
    Exact,
    Near,
    kept_file,
    registries,
)

NEAR = [
    (key, name, function)
    for key in FUNCTIONS
    for name, function in getattr(registries(exact=False), key).items()
    if isinstance(function, Near)
]
CURVES = catalogue.open_catalogue(user=False)


@pytest.mark.parametrize(("key", "name", "near"), NEAR, ids=[f"{k} {n}" for k, n, _ in NEAR])
def test_samples_are_near_the_function_of_colour_science(key: str, name: str, near: Near) -> None:
    random = np.random.default_rng(99)  # not the seed that the samples were tried with
    if "DECODINGS" in key or "INVERSES" in key:
        tried = random.uniform(-0.1, 1.1, 5000)
    else:
        tried = np.concatenate([0.18 * 2 ** random.uniform(-16, 12, 5000), [0.18, 1.0, 0.0]])
    with warnings.catch_warnings(), np.errstate(all="ignore"):
        warnings.simplefilter("ignore")
        right = np.asarray(getattr(colour, key)[name](tried), dtype=np.float64)
    found = near(tried)
    np.testing.assert_array_equal(np.isfinite(found), np.isfinite(right))
    there = np.isfinite(right)
    scale = 1.0 if "ENCODINGS" in key or key == "OETFS" else np.maximum(np.abs(right[there]), 1e-3)
    assert np.max(np.abs(found[there] - right[there]) / scale, initial=0) <= LIMIT
    assert np.isnan(near(np.array([np.nan]))).all()
    assert near(np.float64(0.5)).shape == ()


def test_every_usable_curve_has_samples_and_the_same_verdict() -> None:
    exact = {each.name: each for each in CURVES.curves()}
    near = {each.name: each for each in CURVES.curves(exact=False)}
    assert list(exact) == list(near)
    sampled = {name for _, name, _ in NEAR}
    for name, entry in near.items():
        assert entry.unusable == exact[name].unusable
        if entry.origin == "registry" and not entry.unusable:
            assert name in sampled
            assert entry.curve == exact[name].curve  # the same curve, however it is computed


def test_what_is_named_is_exact() -> None:
    name = next(name for key, name, _ in NEAR if key == "LOG_ENCODINGS")
    light = np.array([0.001, 0.18, 0.9])
    exact = CURVES.curve(name)
    np.testing.assert_array_equal(exact.encode(light), colour.LOG_ENCODINGS[name](light))
    near = CURVES.curve(name, exact=False)
    np.testing.assert_allclose(near.encode(light), exact.encode(light), atol=LIMIT)
    assert isinstance(registries().LOG_ENCODINGS[name], Exact)


def test_spaces_are_those_of_colour_science() -> None:
    kept = registries().RGB_COLOURSPACES
    assert list(kept) == list(colour.RGB_COLOURSPACES)
    for name, space in colour.RGB_COLOURSPACES.items():
        np.testing.assert_array_equal(kept[name].primaries, space.primaries)
        np.testing.assert_array_equal(kept[name].matrix_RGB_to_XYZ, space.matrix_RGB_to_XYZ)


def test_what_is_registered_meanwhile_is_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(colour.OETFS, "A curve of my own", lambda light: light)
    assert registries() is colour


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    folder = tmp_path / "cache"
    folder.mkdir(mode=0o700)
    monkeypatch.setenv("XDG_CACHE_HOME", str(folder))
    registered._kept.cache_clear()
    yield folder
    registered._kept.cache_clear()


@pytest.fixture
def makings(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Grows whenever the registries are made; made small, so that the tests are short."""
    made: list[int] = []

    def small() -> object:
        made.append(1)
        header = {"functions": {key: {} for key in FUNCTIONS}, "spaces": {}, "judged": {}}
        return header, np.zeros((1, 2 + registered._ORDER))

    monkeypatch.setattr(registered, "_made", small)
    return made


def again() -> None:
    registered._kept.cache_clear()
    registered._kept()


def test_it_is_kept_and_read(home: Path, makings: list[int]) -> None:
    again()
    file = kept_file()
    assert file is not None
    assert file.is_relative_to(home)
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert stat.S_IMODE(file.parent.stat().st_mode) == 0o700
    again()
    assert len(makings) == 1


def test_another_version_makes_it_anew(
    home: Path, makings: list[int], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    again()
    package = tmp_path / "site" / "colour"
    (package / "models" / "rgb" / "transfer_functions").mkdir(parents=True)
    (package / "__init__.py").write_text("")
    monkeypatch.syspath_prepend(str(tmp_path / "site"))
    monkeypatch.delitem(sys.modules, "colour")
    first = kept_file()
    again()
    (package.parent / "colour_science-9.9.dist-info").mkdir()
    assert kept_file() != first
    again()
    assert len(makings) == 3


@pytest.mark.parametrize("damage", [b"", b"garbage", b"flip"])
def test_a_damaged_file_is_made_anew_with_a_note(
    home: Path, makings: list[int], damage: bytes, caplog: pytest.LogCaptureFixture
) -> None:
    again()
    assert caplog.text == ""
    file = kept_file()
    assert file is not None
    whole = file.read_bytes()
    file.write_bytes(damage if damage != b"flip" else whole[:-1] + bytes([whole[-1] ^ 1]))
    again()
    assert f"{file} is damaged" in caplog.text
    assert len(makings) == 2
    assert file.read_bytes() == whole


@pytest.mark.skipif(os.name != "posix", reason="owners and modes are POSIX")
@pytest.mark.parametrize("open_to", ["the file", "the folder", "a folder above"])
def test_what_others_can_write_is_not_trusted(home: Path, makings: list[int], open_to: str) -> None:
    again()
    file = kept_file()
    assert file is not None
    place = {"the file": file, "the folder": file.parent, "a folder above": home}[open_to]
    place.chmod(place.stat().st_mode | stat.S_IWOTH)
    assert not only_ours(file)
    before = file.stat().st_mtime_ns
    again()
    again()
    # The file is replaced by one of our own, which is trusted.
    assert len(makings) == (2 if open_to == "the file" else 3)
    if open_to != "the file":
        assert file.stat().st_mtime_ns == before
    place.chmod(0o700 if place.is_dir() else 0o600)


@pytest.mark.skipif(os.name != "posix" or os.getuid() != 0, reason="gives a file away")
def test_what_is_of_another_user_is_not_trusted(home: Path, makings: list[int]) -> None:
    again()
    file = kept_file()
    assert file is not None
    os.chown(file, 12345, 12345)
    assert not only_ours(file)
    again()
    assert len(makings) == 2


def test_it_can_be_done_without(
    home: Path, makings: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("LUTBENCH_CACHE", "no")
    again()
    again()
    assert len(makings) == 2
    assert not list(home.rglob("registries-*"))
    monkeypatch.delenv("LUTBENCH_CACHE")
    (home / "lutbench").write_text("a file where the folder should be")
    again()


TOGETHER = """
import threading
import lutbench as lb
found, gate = [], threading.Barrier(4)
def ask():
    gate.wait()
    found.append(len(lb.curves()))
threads = [threading.Thread(target=ask) for _ in range(4)]
for each in threads:
    each.start()
for each in threads:
    each.join()
assert len(found) == 4 and len(set(found)) == 1, found
"""


@pytest.mark.slow
def test_threads_that_ask_at_once_before_anything_is_kept() -> None:
    """While one imports colour-science, the others must not take the half of it that is there."""
    found = subprocess.run(
        [sys.executable, "-c", TOGETHER],
        env=os.environ | {"LUTBENCH_CACHE": "no"},
        capture_output=True,
        text=True,
    )
    assert (found.returncode, found.stderr) == (0, "")


LIGHT = """
import sys
from lutbench.cli.main import main
try:
    main(sys.argv[1:])
except SystemExit as end:
    assert not end.code, end.code
assert "colour" not in sys.modules, "imported colour-science"
"""


@pytest.mark.parametrize(
    "line",
    [
        "list curves",
        "list gamuts --json",
        "levels --curve ACEScct",
        "inspect {lut} --json",
        "identify {lut} --json",
    ],
)
def test_commands_that_do_without_colour_science(line: str, tmp_path: Path) -> None:
    from lutbench.formats.cube_write import write_cube
    from lutbench.recipes.make import build

    lut = tmp_path / "day.cube"
    names = {"source_gamut": "ACEScg", "target_gamut": "BT.709"}
    write_cube(build("ACEScct", "BT.1886", size=9, **names), lut)  # type: ignore[arg-type]
    registries()  # kept by now
    found = subprocess.run(
        [sys.executable, "-c", LIGHT, *line.format(lut=lut).split()], capture_output=True, text=True
    )
    assert (found.returncode, found.stderr) == (0, "")
