"""The pixel kernels against a float64 reference, each other, and themselves."""

from __future__ import annotations

import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lattice_reference import (
    DOMAINS,
    FLOAT32,
    METHODS,
    SIZES,
    colours,
    random_table,
    reference_1d,
    reference_3d,
)
from numpy.typing import NDArray

from lutbench import long_work
from lutbench.errors import LutbenchError
from lutbench.tables import pixels as over_pixels
from lutbench.tables import plain, programs
from lutbench.tables.lut import Lut1D, Lut3D, ShaperLut3D


@pytest.fixture(autouse=True)
def no_numpy_form(monkeypatch: pytest.MonkeyPatch) -> None:
    """The compiled kernels, whatever ran before."""
    monkeypatch.setattr(over_pixels, "FEW", dict.fromkeys(over_pixels.FEW, -1))


def compiled(step: programs.Step, rgb: NDArray[Any], limit: int = 1) -> NDArray[Any]:
    """The compiled kernel, however few the pixels."""
    out = np.empty_like(rgb)
    over_pixels._run(programs.program((step,), rgb.dtype), rgb, out, 1.0, limit)
    return out


def in_numpy(step: programs.Step, rgb: NDArray[Any]) -> NDArray[Any]:
    out = np.empty_like(rgb)
    plain.run(rgb, out, programs.program((step,), rgb.dtype))
    return out


def bits(array: NDArray[Any]) -> NDArray[Any]:
    return np.ascontiguousarray(array).view(f"u{array.itemsize}")


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("domain", DOMAINS.values(), ids=DOMAINS)
def test_lattice_agrees_with_float64_reference(method: str, size: int, domain: Any) -> None:
    table = random_table(size)
    step = programs.table_step(programs.LATTICES[method], table, np.array(domain))
    rgb = colours(domain)
    expected = reference_3d(table, domain, rgb, method)
    np.testing.assert_allclose(compiled(step, rgb), expected, rtol=0, atol=1e-12)
    single = rgb.astype(np.float32)
    expected = reference_3d(table, domain, single, method)
    np.testing.assert_allclose(compiled(step, single), expected, rtol=0, atol=FLOAT32)


@pytest.mark.parametrize("size", [2, 33, 1024, 65536])
@pytest.mark.parametrize("domain", DOMAINS.values(), ids=DOMAINS)
def test_curve_agrees_with_float64_reference(size: int, domain: Any) -> None:
    table = random_table(size, 1)
    step = programs.table_step(programs.CURVE, table, np.array(domain))
    rgb = colours(domain)
    # A place among 65536 rows is known to some 1e-11 rows in float64.
    np.testing.assert_allclose(
        compiled(step, rgb), reference_1d(table, domain, rgb), rtol=0, atol=1e-10
    )
    single = rgb.astype(np.float32)
    np.testing.assert_allclose(
        compiled(step, single),
        reference_1d(table, domain, single.astype(np.float64)),
        rtol=0,
        atol=FLOAT32,
    )


@pytest.mark.parametrize("dtype", [np.float32, np.float64])
@pytest.mark.parametrize("op", ["curve", *METHODS])
@pytest.mark.parametrize("size", [2, 17, 32, 65])
@pytest.mark.parametrize("domain", DOMAINS.values(), ids=DOMAINS)
def test_numpy_form_has_the_same_bits(dtype: Any, op: str, size: int, domain: Any) -> None:
    rgb = colours(domain, 3000, seed=3).astype(dtype)
    rgb[100] = np.nan
    rgb[101, 1] = np.nan
    rgb[102] = (np.inf, -np.inf, 0.5)
    if op == "curve":
        step = programs.table_step(programs.CURVE, random_table(size, 1), np.array(domain))
    else:
        step = programs.table_step(programs.LATTICES[op], random_table(size), np.array(domain))
    first, second = compiled(step, rgb), in_numpy(step, rgb)
    assert np.isnan(first).sum() == (4 if op == "curve" else 6)
    np.testing.assert_array_equal(first, second)


@pytest.mark.parametrize("dtype", [np.float32, np.float64])
@pytest.mark.parametrize("method", METHODS)
def test_same_bits_for_any_threads_layout_and_split(dtype: Any, method: str) -> None:
    lut = Lut3D(random_table(33), interpolation=method)  # type: ignore[arg-type]
    rgb = colours(DOMAINS["unit"], 120_000).astype(dtype).reshape(300, 400, 3)
    once = lut.apply(rgb, threads=1)
    for count in (2, 3, 7):
        np.testing.assert_array_equal(bits(lut.apply(rgb, threads=count)), bits(once))
    np.testing.assert_array_equal(bits(lut.apply(rgb)), bits(once))
    layouts = {
        "planar": np.ascontiguousarray(rgb.transpose(2, 0, 1)).transpose(1, 2, 0),
        "four channels": np.concatenate([rgb, rgb[..., :1]], axis=-1)[..., :3],
        "fortran": np.asfortranarray(rgb),
        "crop": np.pad(rgb, ((3, 2), (1, 5), (0, 0)))[3:-2, 1:-5],
        "reversed twice": np.ascontiguousarray(rgb[::-1, :, ::-1])[::-1, :, ::-1],
    }
    for name, array in layouts.items():
        assert not array.flags.c_contiguous, name
        np.testing.assert_array_equal(bits(lut.apply(array)), bits(once), err_msg=name)
    pieces = [lut.apply(row) for row in rgb]
    np.testing.assert_array_equal(bits(np.stack(pieces)), bits(once))
    odd = rgb.reshape(-1, 3)[17 : 17 + 70_001]
    np.testing.assert_array_equal(bits(lut.apply(odd)), bits(once.reshape(-1, 3)[17:70_018]))


def test_frames_in_parallel_have_the_same_bits() -> None:
    lut = Lut3D(random_table(33))
    frames = [
        colours(DOMAINS["unit"], 90_000, seed=k).astype(np.float32).reshape(300, 300, 3)
        for k in range(8)
    ]
    alone = [lut.apply(frame, threads=1) for frame in frames]
    with ThreadPoolExecutor(4) as pool:
        together = list(pool.map(lut.apply, frames))
    for one, other in zip(alone, together, strict=True):
        np.testing.assert_array_equal(bits(one), bits(other))


@pytest.mark.parametrize("dtype", [np.float32, np.float64])
@pytest.mark.parametrize("method", METHODS)
def test_nan_spreads_over_the_pixel_and_infinity_is_clamped(dtype: Any, method: str) -> None:
    lut = Lut3D(random_table(5), interpolation=method)  # type: ignore[arg-type]
    inf, nan = np.inf, np.nan
    rgb = np.array(
        [[0.5, 0.5, 0.5], [nan, 0, 0], [0, nan, 0], [0, 0, nan], [nan] * 3, [inf, -inf, inf]],
        dtype=dtype,
    )
    for out in (lut.apply(rgb), lut.apply(np.tile(rgb, (20_000, 1)))[:6]):
        assert np.isnan(out[1:5]).all()
        assert np.isfinite(out[[0, 5]]).all()
        np.testing.assert_array_equal(out[5], lut.table[4, 0, 4].astype(dtype))


@given(
    st.lists(
        st.tuples(*[st.floats(width=32)] * 3),
        min_size=1,
        max_size=40,
    ),
    st.sampled_from(METHODS),
    st.sampled_from(list(DOMAINS.values())),
)
@settings(deadline=None, max_examples=60)
def test_any_float_gives_a_colour_between_the_nodes(
    pixels: list[tuple[float, float, float]], method: str, domain: Any
) -> None:
    table = random_table(4)
    step = programs.table_step(programs.LATTICES[method], table, np.array(domain))
    rgb = np.array(pixels, dtype=np.float32)
    out = compiled(step, rgb)
    bad = np.isnan(rgb).any(axis=1)
    assert np.isnan(out[bad]).all()
    assert (out[~bad] >= table.min() - 1e-6).all()
    assert (out[~bad] <= table.max() + 1e-6).all()
    np.testing.assert_array_equal(out, in_numpy(step, rgb))


@pytest.mark.parametrize("dtype", [np.float32, np.float64])
@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize("size", [2, 17, 33, 65])
def test_nodes_give_their_own_colour(dtype: Any, method: str, size: int) -> None:
    table = random_table(size).astype(dtype)
    lut = Lut3D(table, interpolation=method)  # type: ignore[arg-type]
    np.testing.assert_array_equal(lut.apply(lut.nodes.astype(dtype)), table)


@pytest.mark.parametrize("shape", [(3,), (0, 3), (1, 3), (2, 0, 3), (2, 3, 4, 3)])
def test_any_leading_shape(shape: tuple[int, ...]) -> None:
    rgb = np.full(shape, 0.25, np.float32)
    for lut in (
        Lut3D.identity(9),
        Lut1D([[0, 0, 0], [1, 1, 1]]),
        ShaperLut3D(Lut1D([[0, 0, 0], [1, 1, 1]]), Lut3D.identity(9)),
    ):
        out = lut.apply(rgb)
        assert out.shape == shape
        assert out.dtype == np.float32
        np.testing.assert_allclose(out, rgb, atol=1e-7)


def test_read_only_pixels_are_taken_and_left_alone() -> None:
    rgb = colours(DOMAINS["unit"], 60_000).astype(np.float32)
    before = rgb.copy()
    rgb.flags.writeable = False
    out = Lut3D(random_table(9)).apply(rgb)
    assert out.flags.writeable
    np.testing.assert_array_equal(rgb, before)


def test_laid_out_table_is_kept_and_let_go() -> None:
    table = random_table(9)
    table.flags.writeable = False
    first = programs._laid_out(table, np.dtype(np.float32))
    assert programs._laid_out(table, np.dtype(np.float32)) is first
    assert programs._laid.get(table, np.dtype(np.float32)) is first
    kept = len(programs._laid)
    del table
    assert len(programs._laid) < kept
    changing = random_table(9)
    before = programs._laid_out(changing, np.dtype(np.float32))
    changing[:] = 0
    assert before.any()
    assert not programs._laid_out(changing, np.dtype(np.float32)).any()


class TestThreads:
    def test_argument_over_environment_over_cores(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.delenv(long_work.THREADS_VARIABLE, raising=False)
        assert long_work.thread_limit() == long_work._usable_cores()
        monkeypatch.setenv(long_work.THREADS_VARIABLE, "5")
        assert long_work.thread_limit() == 5
        assert long_work.thread_limit(2) == 2

    @pytest.mark.parametrize("text", ["0", "-1", "many", "1.5", "100000"])
    def test_bad_environment_is_named(self, text: str, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setenv(long_work.THREADS_VARIABLE, text)
        with pytest.raises(LutbenchError, match=r"LUTBENCH_THREADS.*accepted: 1 to 1024"):
            Lut3D.identity(2).apply([0.5, 0.5, 0.5])

    def test_bad_argument_is_named(self) -> None:
        with pytest.raises(LutbenchError, match="threads: 0 is too small"):
            Lut3D.identity(2).apply([0.5, 0.5, 0.5], threads=0)

    def test_every_part_is_done_once(self) -> None:
        done = np.zeros(1001, int)

        def work(start: int, stop: int) -> None:
            done[start:stop] += 1

        for count in (1, 2, 5):
            long_work.parallel_for(work, len(done), 10, count)
        assert (done == 3).all()
        assert long_work._working == 0

    def test_error_in_a_helper_reaches_the_caller(self) -> None:
        def work(start: int, stop: int) -> None:
            raise ValueError("part")

        for _ in range(20):
            with pytest.raises(ValueError, match="part"):
                long_work.parallel_for(work, 1000, 10, 4)
        assert long_work._working == 0

    def test_callers_in_parallel_get_no_more_than_the_limit(self) -> None:
        import threading
        import time

        lock = threading.Lock()
        now, most = 0, 0

        def work(start: int, stop: int) -> None:
            nonlocal now, most
            with lock:
                now += 1
                most = max(most, now)
            time.sleep(0.002)
            with lock:
                now -= 1

        with ThreadPoolExecutor(3) as pool:
            list(pool.map(lambda _: long_work.parallel_for(work, 40, 2, 3), range(6)))
        assert most <= 5  # three callers, and two helpers at the most of the first to come
        assert long_work._working == 0


def test_numba_is_started_when_it_pays() -> None:
    code = (
        "import sys, numpy as np\n"
        "from lutbench.tables import pixels as over_pixels\n"
        "from lutbench.tables.lut import Lut3D\n"
        "over_pixels.FEW['float64'] = 10_000\n"
        "over_pixels.NOT_KEPT['float64'] = 1\n"
        "lut, rgb = Lut3D.identity(33), np.random.default_rng(1).random((4000, 3))\n"
        "first = lut.apply(rgb)\n"
        "lut.apply(rgb)\n"
        "assert 'numba' not in sys.modules\n"
        "assert (lut.apply(rgb) == first).all()\n"
        "assert 'numba' in sys.modules\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True, timeout=120)
