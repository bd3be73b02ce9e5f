"""Codes in and out, planes, chains in one pass, results put in place."""

from __future__ import annotations

import math
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lattice_reference import (
    DOMAINS,
    METHODS,
    colours,
    random_table,
    reference_1d,
    reference_3d,
)
from numpy.typing import NDArray

from lutbench.errors import LutbenchError
from lutbench.model.grade import Cdl, Saturation
from lutbench.model.transforms import Clamp, Matrix, Transform
from lutbench.tables import pixels as over_pixels
from lutbench.tables.lut import Lut1D, Lut3D, ShaperLut3D
from lutbench.tables.pixels import apply_pixels
from lutbench.tables.programs import can_apply

CODES = [np.uint8, np.uint16]
# Half a code, and what float32 leaves open when the exact value is half way:
# the highest code times 2e-7.
NEAREST = {np.uint8: 0.5 + 255 * 2e-7, np.uint16: 0.5 + 65535 * 2e-7}


@pytest.fixture(autouse=True)
def no_numpy_form(monkeypatch: pytest.MonkeyPatch) -> None:
    """The compiled kernels, whatever ran before."""
    monkeypatch.setattr(over_pixels, "FEW", dict.fromkeys(over_pixels.FEW, -1))


def codes(dtype: Any, count: int = 5000, peak: int | None = None) -> NDArray[Any]:
    peak = peak or np.iinfo(dtype).max
    found = np.random.default_rng(5).integers(0, peak, (count, 3), dtype, endpoint=True)
    found[:8] = np.array(list(np.ndindex(2, 2, 2)), dtype) * dtype(peak)
    found[8:264] = np.linspace(0, peak, 256).astype(dtype)[:, None]
    return found


@pytest.mark.parametrize("dtype", CODES)
@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize("size", [2, 17, 33, 65, 129])
@pytest.mark.parametrize("domain", DOMAINS.values(), ids=DOMAINS)
def test_codes_are_rounded_to_nearest(dtype: Any, method: str, size: int, domain: Any) -> None:
    lut = Lut3D(random_table(size) * 1.2 - 0.1, domain, interpolation=method)  # type: ignore[arg-type]
    pixels = codes(dtype)
    peak = np.iinfo(dtype).max
    expected = reference_3d(lut.table, domain, pixels / peak, method) * peak
    out = lut.apply(pixels)
    assert out.dtype == dtype
    assert np.abs(out - np.clip(expected, 0, peak)).max() <= NEAREST[dtype]


@pytest.mark.parametrize("dtype", CODES)
def test_every_grey_code_through_every_kind(dtype: Any) -> None:
    peak = np.iinfo(dtype).max
    every = np.repeat(np.arange(peak + 1, dtype=dtype)[:, None], 3, axis=1)
    for size in (2, 3, 17, 32, 33, 64, 65, 66, 129):
        for method in METHODS:
            lut = Lut3D.identity(size).with_interpolation(method)  # type: ignore[arg-type]
            np.testing.assert_array_equal(lut.apply(every), every)
    ramp = np.repeat(np.linspace(0, 1, 1024)[:, None], 3, axis=1)
    np.testing.assert_array_equal(Lut1D(ramp).apply(every), every)
    both = ShaperLut3D(Lut1D(ramp), Lut3D.identity(33))
    np.testing.assert_array_equal(both.apply(every), every)
    np.testing.assert_array_equal(apply_pixels([], every), every)


@pytest.mark.parametrize("dtype", CODES)
def test_curve_codes(dtype: Any) -> None:
    lut = Lut1D(random_table(1024, 1), DOMAINS["wide"])
    pixels = codes(dtype)
    peak = np.iinfo(dtype).max
    expected = reference_1d(lut.table, lut.domain, pixels / peak) * peak
    assert np.abs(lut.apply(pixels) - expected).max() <= NEAREST[dtype]


@pytest.mark.parametrize("bits", [10, 12, 14])
@pytest.mark.parametrize("method", METHODS)
def test_codes_of_fewer_bits(bits: int, method: str) -> None:
    peak = (1 << bits) - 1
    lut = Lut3D(random_table(33), interpolation=method)  # type: ignore[arg-type]
    pixels = codes(np.uint16, peak=peak)
    out = apply_pixels(lut, pixels, bits=bits)
    expected = reference_3d(lut.table, lut.domain, pixels / peak, method) * peak
    assert np.abs(out - expected).max() <= 0.5 + peak * 2e-7
    beyond = np.full((700, 3), 65535, np.uint16)
    np.testing.assert_array_equal(
        apply_pixels(lut, beyond, bits=bits), apply_pixels(lut, beyond * 0 + peak, bits=bits)
    )
    widened = apply_pixels(lut, pixels, bits=bits, out_bits=16)
    assert np.abs(widened - expected / peak * 65535).max() <= NEAREST[np.uint16]


def test_types_may_differ() -> None:
    lut = Lut3D(random_table(17))
    pixels = codes(np.uint8)
    expected = reference_3d(lut.table, lut.domain, pixels / 255, "tetrahedral")
    for dtype, limit in ((np.float32, 5e-7), (np.float64, 5e-7)):
        out = apply_pixels(lut, pixels, dtype=dtype)
        assert out.dtype == dtype
        np.testing.assert_allclose(out, expected, rtol=0, atol=limit)
    sixteen = apply_pixels(lut, pixels, dtype=np.uint16)
    assert np.abs(sixteen - expected * 65535).max() <= NEAREST[np.uint16]
    floats = colours(DOMAINS["unit"]).astype(np.float32)
    floats[5] = np.nan
    expected = reference_3d(lut.table, lut.domain, np.nan_to_num(floats), "tetrahedral")
    out = apply_pixels(lut, floats, dtype=np.uint8)
    assert (out[5] == 0).all()
    keep = np.arange(len(floats)) != 5
    assert np.abs(out - expected * 255)[keep].max() <= NEAREST[np.uint8]


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16, np.float16, np.float32, np.float64])
@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize("count", [1, 255, 257, 300])
def test_a_block_that_is_not_full(dtype: Any, method: str, count: int) -> None:
    """Whatever a full block before it left behind: NaN, infinity, values out of every range."""
    wild = np.full((3, 3, 3, 3), 3e38)
    wild[::2] = -3e38
    matrix = Matrix(((1e30, 1e30, 1e30), (-1e30, 1e30, 0), (1e30, 1e30, -1e30)))
    chain = [Lut3D(wild, interpolation=method), matrix, Lut3D(random_table(9))]  # type: ignore[arg-type]
    pixels = codes(np.uint8, 512)[:count].astype(dtype)
    whole = np.concatenate([pixels, codes(np.uint8, 512).astype(dtype)])
    np.testing.assert_array_equal(apply_pixels(chain, pixels), apply_pixels(chain, whole)[:count])


@pytest.fixture(params=["kernel", "numpy"])
def either_form(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """The compiled kernel, or what numpy does before it is there."""
    most = {"kernel": -1, "numpy": 10**9}[request.param]
    monkeypatch.setattr(over_pixels, "FEW", dict.fromkeys(over_pixels.FEW, most))


SAME = Matrix(((1, 0, 0), (0, 1, 0), (0, 0, 1)))


def test_every_half_float_is_read(either_form: None) -> None:
    """Held against numpy's conversion (IEEE 754 binary16): exact."""
    halves = np.arange(65536, dtype=np.uint16).view(np.float16)
    pixels = np.repeat(halves[np.isfinite(halves)][:, None], 3, axis=1)
    found = apply_pixels([SAME], pixels, dtype=np.float32)
    np.testing.assert_array_equal(found, pixels.astype(np.float32))


def test_half_floats_are_written_to_nearest(either_form: None) -> None:
    """Held against numpy's conversion: ties to even, subnormal and too large ones as well."""
    halves = np.arange(0x7C00, dtype=np.uint16).view(np.float16).astype(np.float32)
    ties = (halves[:-1] + halves[1:]) / 2
    near = np.concatenate([ties, np.nextafter(ties, np.float32(0)), np.nextafter(ties, halves[1:])])
    far = np.float32([65503, 65519.99, 65520, 65521, 1e30, 1e-30, 2.0**-25, 2.0**-24])
    values = np.concatenate([halves, near, far])
    pixels = np.stack([values, -values, values[::-1]], axis=1)
    with np.errstate(over="ignore"):
        wanted = pixels.astype(np.float16)
    found = apply_pixels([SAME], pixels, dtype=np.float16)
    np.testing.assert_array_equal(found, wanted)


def test_what_is_no_number_stays_so_in_half_floats(either_form: None) -> None:
    pixels = np.float16([[np.nan, 0.5, 0.5], [np.inf, 1, 2]])
    found = apply_pixels([Lut1D(np.linspace([0, 0, 0], [1, 1, 1], 5))], pixels)
    assert found.dtype == np.float16
    np.testing.assert_array_equal(found, np.float16([[np.nan, 0.5, 0.5], [1, 1, 1]]))


def test_values_beyond_the_codes_are_held() -> None:
    lut = Lut3D([[[[-1.0, 2.0, np.float64(0.5)]] * 2] * 2] * 2)
    assert lut.apply(np.array([[3, 4, 5]], np.uint8)).tolist() == [[0, 255, 128]]
    assert lut.apply(np.array([[3, 4, 5]], np.uint16)).tolist() == [[0, 65535, 32768]]


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16, np.float16, np.float32, np.float64])
@pytest.mark.parametrize("method", METHODS)
def test_same_bits_for_any_layout_and_threads(dtype: Any, method: str) -> None:
    lut = Lut3D(random_table(33), interpolation=method)  # type: ignore[arg-type]
    shape = (251, 333, 3)
    if np.issubdtype(dtype, np.integer):
        pixels = codes(dtype, 251 * 333).reshape(shape)
    else:
        pixels = colours(DOMAINS["unit"], 251 * 333).astype(dtype).reshape(shape)
    once = apply_pixels(lut, pixels, threads=1)
    planes = np.ascontiguousarray(pixels.transpose(2, 0, 1))
    for count in (1, 2, 5):
        out = apply_pixels(lut, planes, planar=True, threads=count)
        assert out.flags.c_contiguous
        np.testing.assert_array_equal(out.transpose(1, 2, 0), once)
        np.testing.assert_array_equal(apply_pixels(lut, pixels, threads=count), once)
    four = np.full((*shape[:2], 4), 7, dtype)
    four[..., :3] = pixels
    apply_pixels(lut, four[..., :3], out=four[..., :3])
    np.testing.assert_array_equal(four[..., :3], once)
    assert (four[..., 3] == 7).all()
    bgr = np.ascontiguousarray(pixels[..., ::-1])
    apply_pixels(lut, bgr[..., ::-1], out=bgr[..., ::-1])
    np.testing.assert_array_equal(bgr[..., ::-1], once)


def test_result_goes_where_it_is_asked_for() -> None:
    lut = Lut3D(random_table(9))
    pixels = colours(DOMAINS["unit"], 600).reshape(20, 30, 3).astype(np.float32)
    expected = apply_pixels(lut, pixels)
    inside = np.zeros((40, 50, 3), np.float32)
    view = inside[5:25, 7:37]
    assert apply_pixels(lut, pixels, out=view) is view
    np.testing.assert_array_equal(inside[5:25, 7:37], expected)
    assert np.count_nonzero(inside) <= np.count_nonzero(expected)
    in_place = pixels.copy()
    apply_pixels(lut, in_place, out=in_place)
    np.testing.assert_array_equal(in_place, expected)
    # A result that overlaps its source by a row is that of the source as it was.
    both = np.zeros((21, 30, 3), np.float32)
    both[:20] = pixels
    apply_pixels(lut, both[:20], out=both[1:])
    np.testing.assert_array_equal(both[1:], expected)


def test_odd_memory() -> None:
    lut = Lut3D(random_table(9))
    pixels = colours(DOMAINS["unit"], 600).astype(np.float32)
    expected = lut.apply(pixels)
    swapped = pixels.astype(pixels.dtype.newbyteorder())
    np.testing.assert_array_equal(lut.apply(swapped), expected)
    raw = np.zeros(pixels.nbytes + 1, np.uint8)
    raw[1:] = pixels.reshape(-1).view(np.uint8)
    unaligned = raw[1:].view(np.float32).reshape(-1, 3)
    assert not unaligned.flags.aligned
    np.testing.assert_array_equal(apply_pixels(lut, unaligned), expected)
    record = np.zeros(600, [("rgb", np.float32, 3), ("mark", np.uint8)])
    record["rgb"] = pixels
    np.testing.assert_array_equal(apply_pixels(lut, record["rgb"]), expected)
    broadcast = np.broadcast_to(pixels[:1], (600, 3))
    np.testing.assert_array_equal(apply_pixels(lut, broadcast), np.repeat(expected[:1], 600, 0))


def lattice_of(size: int, dimensions: int) -> NDArray[np.float64]:
    axes = np.meshgrid(*[np.linspace(0, 1, size)] * dimensions, indexing="ij")
    return np.stack(axes if dimensions == 3 else axes * 3, axis=-1)


CHAINS: dict[str, list[Transform]] = {
    "matrix": [Matrix(((0.9, 0.2, -0.1), (0.05, 0.8, 0.15), (0.0, -0.1, 1.1)), (0.01, 0, -0.02))],
    "matrices": [
        Matrix(((1.2, 0, 0), (0, 1, 0), (0, 0, 0.7))),
        Matrix(((0.6, 0.3, 0.1), (0.1, 0.8, 0.1), (0, 0.1, 0.9)), (0.1, 0.1, 0.1)),
    ],
    "clamp": [Clamp(0.2, 0.7)],
    "saturation": [Saturation(1.4)],
    "cdl": [Cdl((1.1, 0.9, 1.3), (0.02, -0.05, 0), (0.8, 1.0, 2.2), 0.7)],
    "no-clamp cdl": [Cdl((1.1, 0.9, 1.3), (0.02, -0.05, 0), (0.8, 1.7, 2.2), 1.2, clamp=False)],
    "inverse cdl": [Cdl((1.1, 0.9, 1.3), (0.02, 0.05, 0), (0.8, 1.2, 2.2), 0.7).inverse()],
    "curve": [Lut1D(random_table(64, 1), DOMAINS["wide"])],
    "shaper and lattice": [
        ShaperLut3D(Lut1D(random_table(64, 1), DOMAINS["wide"]), Lut3D(random_table(17)))
    ],
    "all": [
        Matrix(((0.9, 0.1, 0), (0.05, 0.9, 0.05), (0.0, 0.1, 0.9))),
        Cdl((1.1, 0.9, 1.3), (0.02, -0.05, 0), (0.8, 1.0, 1.2), 0.7),
        Lut1D(lattice_of(64, 1) ** 0.8),
        Clamp(0.1, 0.8),
        Lut3D(lattice_of(9, 3) ** 1.2, DOMAINS["wide"]),
        Lut3D(1 - lattice_of(5, 3) ** 0.9, interpolation="trilinear"),
        Saturation(0.5),
    ],
}


def one_by_one(chain: list[Transform], rgb: NDArray[Any]) -> NDArray[np.float64]:
    out = np.asarray(rgb, np.float64)
    for step in chain:
        out = np.asarray(step.apply(out), np.float64)
    return out


@pytest.mark.parametrize("name", CHAINS)
def test_chain_in_one_pass_is_its_steps_one_by_one(name: str) -> None:
    chain = CHAINS[name]
    rgb = colours(DOMAINS["unit"])
    expected = one_by_one(chain, rgb)
    np.testing.assert_allclose(apply_pixels(chain, rgb), expected, rtol=1e-11, atol=1e-11)
    single = rgb.astype(np.float32)
    # Float32 keeps 2**-24 in each step. A random lattice of 17 nodes multiplies what
    # went before it by up to 16 in each channel; the other steps by little.
    steep = 2.0**-24 * (3 * 16 * 2 if name == "shaper and lattice" else 16)
    np.testing.assert_allclose(
        apply_pixels(chain, single), one_by_one(chain, single), rtol=steep, atol=steep
    )
    sixteen = codes(np.uint16)
    expected = np.clip(one_by_one(chain, sixteen / 65535), 0, 1) * 65535
    assert np.abs(apply_pixels(chain, sixteen) - expected).max() <= 0.5 + 65535 * steep


@pytest.mark.parametrize("dtype", [np.float32, np.float64])
def test_shaper_and_lattice_in_one_pass_has_the_bits_of_two(dtype: Any) -> None:
    shaper, lut = Lut1D(random_table(64, 1), DOMAINS["wide"]), Lut3D(random_table(17))
    rgb = colours(DOMAINS["wide"]).astype(dtype)
    np.testing.assert_array_equal(ShaperLut3D(shaper, lut).apply(rgb), lut.apply(shaper.apply(rgb)))


@given(st.floats(0, 2), st.floats(0.05, 10))
@settings(deadline=None, max_examples=300)
def test_power_agrees_with_the_system(value: float, power: float) -> None:
    chain = [Cdl(power=(power, power, power), clamp=False)]
    out = apply_pixels(chain, np.full((1, 3), value))[0, 0]
    tiny = np.finfo(np.float64).tiny
    if power == 1:  # nothing to do
        assert out == value
    elif value < tiny:  # nothing is told from 0 here
        assert out == 0
    elif value**power >= tiny:
        # The logarithm is known to one part in 2**53, and comes out times the power.
        known = 2**-52 * (4 + power * (1 + abs(math.log2(value))))
        assert out == pytest.approx(value**power, rel=known, abs=0)


def test_power_of_many_values() -> None:
    values = np.concatenate([np.geomspace(1e-300, 1e300, 60_001), np.linspace(0, 2, 40_001)])
    rgb = np.repeat(values[:, None], 3, axis=1)
    for power in (0.3, 0.4545, 0.999, 2.4):
        with np.errstate(over="ignore"):
            expected = rgb**power
        out = apply_pixels([Cdl(power=(power,) * 3, clamp=False)], rgb)
        usual = (rgb > 1e-6) & (rgb < 1e6)  # a logarithm of 20 at the most
        known = 2**-52 * (4 + power * 21)
        np.testing.assert_allclose(out[usual], expected[usual], rtol=known)
        far = (expected > 1e-290) & (expected < 1e290)
        np.testing.assert_allclose(out[far], expected[far], rtol=2**-52 * (4 + power * 1000))


def test_power_of_many_values_in_float32() -> None:
    values = np.concatenate([np.geomspace(1e-37, 1e37, 60_001), np.linspace(0, 2, 40_001)])
    rgb = np.repeat(values.astype(np.float32)[:, None], 3, axis=1)
    for power in (0.3, 0.4545, 0.999, 2.4):
        expected = rgb.astype(np.float64) ** np.float32(power)
        out = apply_pixels([Cdl(power=(power,) * 3, clamp=False)], rgb)
        near = (expected > 1e-36) & (expected < 1e36)
        with np.errstate(divide="ignore"):
            known = 2**-23 * (4 + power * (1 + np.abs(np.log2(rgb.astype(np.float64)))))
        assert (np.abs(out[near] / expected[near] - 1) < known[near]).all()
        low = rgb <= 1
        np.testing.assert_allclose(out[low], expected[low], rtol=0, atol=3e-7)


def test_nan_goes_through_every_step() -> None:
    rgb = np.full((4, 3), 0.5)
    rgb[1, 0] = np.nan
    for name, chain in CHAINS.items():
        out = apply_pixels(chain, rgb)
        assert np.isnan(out[1, 0]), name
        assert np.isfinite(out[[0, 2, 3]]).all(), name


def test_chain_has_the_same_bits_for_any_threads() -> None:
    rgb = colours(DOMAINS["unit"], 200_000).astype(np.float32)
    once = apply_pixels(CHAINS["all"], rgb, threads=1)
    for count in (2, 3):
        np.testing.assert_array_equal(apply_pixels(CHAINS["all"], rgb, threads=count), once)
    np.testing.assert_array_equal(apply_pixels(CHAINS["all"], rgb[5:777]), once[5:777])


def test_what_is_refused() -> None:
    rgb = np.zeros((4, 3), np.float32)
    lut = Lut3D.identity(2)
    from lutbench.model.transforms import Transform as Base

    with pytest.raises(LutbenchError, match="cannot be run over pixels as it is; accepted: LUTs"):
        apply_pixels([lut, Base()], rgb)
    assert can_apply(lut | Clamp())
    assert not can_apply(lut | Base())
    with pytest.raises(LutbenchError, match="dtype: int8 is not a type of pixels; accepted: uint8"):
        apply_pixels(lut, rgb, dtype=np.int8)
    with pytest.raises(LutbenchError, match=r"shape \(4, 3\) is not R G B; accepted: a first"):
        apply_pixels(lut, rgb, planar=True)
    with pytest.raises(LutbenchError, match=r"shape \(4, 2\) is not R G B; accepted: a last"):
        apply_pixels(lut, rgb[:, :2])
    with pytest.raises(LutbenchError, match=r"bits: 12 .*accepted: 1 to 8"):
        apply_pixels(lut, rgb.astype(np.uint8), bits=12)
    with pytest.raises(LutbenchError, match=r"the result is float64 of shape \(5, 3\)"):
        apply_pixels(lut, rgb, out=np.zeros((5, 3)))
    with pytest.raises(LutbenchError, match="read-only"):
        apply_pixels(lut, rgb, out=np.broadcast_to(np.float32(0), (4, 3)))


NO_FOLDER = "for each in caching.CacheImpl._locator_classes: each.ensure_cache_path = refuse"
FULL_DISK = "caching.IndexDataCacheFile._save_data = refuse"


@pytest.mark.parametrize("failure", ["pass", NO_FOLDER, FULL_DISK])
def test_without_a_place_for_compiled_code(failure: str, tmp_path: Path) -> None:
    """A package nobody may write beside and a home that cannot be written; a full disk."""
    (tmp_path / "doubled.py").write_text("def double(x):\n    return 2 * x\n")
    code = [
        "import numba.core.caching as caching",
        "from doubled import double",
        "from numba import types",
        "from lutbench.tables.kept_code import compiled",
        "def refuse(*_): raise OSError('not here')",
        failure,
        "assert compiled(double, types.float64(types.float64))(1.5) == 3.0",
    ]
    environment = os.environ | {"PYTHONPATH": str(tmp_path)}
    environment.pop("NUMBA_CACHE_DIR", None)
    command = [sys.executable, "-c", "\n".join(code)]
    subprocess.run(command, check=True, timeout=120, env=environment)
    kept = list(tmp_path.glob("__pycache__/*.nbc"))
    assert bool(kept) == (failure == "pass")
