"""One `apply` for every transform: types, `out`, `threads`, `interpolation`."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from lattice_reference import random_table

from lutbench.errors import LutbenchError
from lutbench.model.curves.base import Decode, Encode
from lutbench.model.curves.video import Bt709, Power
from lutbench.model.grade import Cdl, Saturation
from lutbench.model.signal import RangeFromSignal
from lutbench.model.transforms import Clamp, Matrix, Pipeline, Transform
from lutbench.tables import pixels as over_pixels
from lutbench.tables import plain
from lutbench.tables.lut import Lut1D, Lut3D, ShaperLut3D
from lutbench.tables.pixels import apply_pixels

RNG = np.random.default_rng(11)
MIX = Matrix([[0.7, 0.2, 0.1], [0.1, 0.8, 0.1], [0.0, 0.3, 0.7]], [0.01, 0, 0])
LUT = Lut3D(random_table(9))
RAMP = Lut1D(np.linspace(0, 1, 17)[:, None] ** 0.5 * np.ones(3))
GRADE = Cdl((1.1, 0.9, 1.0), (0.02, -0.05, 0.0), (1.2, 0.8, 2.4), 0.7)

TRANSFORMS: dict[str, Transform] = {
    "matrix": MIX,
    "saturation": Saturation(0.4),
    "clamp": Clamp(0.1, 0.9),
    "CDL": GRADE,
    "1D": RAMP,
    "3D": LUT,
    "shaper": ShaperLut3D(RAMP, LUT),
    "curve": Encode(Bt709()),
    "range": RangeFromSignal("legal"),
    "matrix, LUT": MIX | LUT,
    "curve, matrix, curve": Decode(Power("gamma 2.4", 2.4)) | MIX | Encode(Bt709()),
    "curve, LUT": Encode(Bt709()) | LUT,
    "nothing": Pipeline(),
}
every = pytest.mark.parametrize("transform", TRANSFORMS.values(), ids=TRANSFORMS)


def pixels(dtype: Any, shape: tuple[int, ...] = (50, 40, 3)) -> Any:
    if np.dtype(dtype).kind == "u":
        return RNG.integers(0, np.iinfo(dtype).max, shape, dtype, endpoint=True)
    return RNG.random(shape).astype(dtype)


@every
@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
def test_integers_are_codes_everywhere(transform: Transform, dtype: Any) -> None:
    codes, peak = pixels(dtype), np.iinfo(dtype).max
    exact = np.clip(transform.apply(codes / peak), 0, 1) * peak
    out = transform.apply(codes)
    assert out.dtype == dtype
    # Half a code, and what float32 leaves open: steps of 2**-24 that a slope near black
    # of up to 30 (the roots above) makes larger.
    assert np.abs(out - exact).max() <= 0.5 + peak * 30 * 2**-22


@every
def test_floats_are_signal_everywhere(transform: Transform) -> None:
    signal = pixels(np.float64)
    exact = transform.apply(signal)
    assert exact.dtype == np.float64
    single = transform.apply(signal.astype(np.float32))
    assert single.dtype == np.float32
    np.testing.assert_allclose(single, exact, rtol=0, atol=30 * 2**-22)
    half = signal.astype(np.float16)
    found = transform.apply(half)
    assert found.dtype == np.float16
    wanted = transform.apply(half.astype(np.float32)).astype(np.float64)
    # Half a step of the type, and what float32 leaves open.
    assert (np.abs(found - wanted) <= np.abs(wanted) * 2.0**-11 + 2.0**-25 + 30 * 2.0**-22).all()
    np.testing.assert_array_equal(transform.apply([0, 1, 0]), transform.apply([0.0, 1.0, 0.0]))
    bad = transform.apply(np.array([np.nan, 0.5, 0.5]))
    assert np.isnan(bad).any()


def close(one: Any, other: Any) -> None:
    """Alike but for the order in which a product of matrices is summed, which goes by shape.

    Three products of up to 1.1 are rounded to within 2⁻⁵¹, and a slope of the lattice may make
    that eight times larger.
    """
    np.testing.assert_allclose(one, other, rtol=0, atol=2.0**-48)


@every
@pytest.mark.parametrize("dtype", [np.uint8, np.uint16, np.float32, np.float64])
def test_out_is_written_to(transform: Transform, dtype: Any) -> None:
    given = pixels(dtype)
    wanted = transform.apply(given)
    out = np.empty_like(given)
    assert transform.apply(given, out=out, threads=1) is out
    close(out, wanted)
    rgba = np.zeros((50, 40, 4), dtype)  # a view with strides of its own
    transform.apply(given, out=rgba[..., :3])
    close(rgba[..., :3], wanted)
    assert not rgba[..., 3].any()
    again = given.copy()
    transform.apply(again, out=again)
    close(again, wanted)
    close(transform.apply(given[::2, ::-1]), wanted[::2, ::-1])


def test_out_of_blocks_that_overlap(monkeypatch: pytest.MonkeyPatch) -> None:
    """A result put a pixel further than it was read from does not feed on itself."""
    monkeypatch.setattr("lutbench.tables.pixels.BLOCK_PIXELS", 7)
    transform = TRANSFORMS["curve, matrix, curve"]
    for dtype in (np.uint8, np.float64):
        row = pixels(dtype, (100, 3))
        wanted = transform.apply(row[:-1])
        transform.apply(row[:-1], out=row[1:])
        np.testing.assert_array_equal(row[1:], wanted)


@every
def test_interpolation_is_taken_everywhere(transform: Transform) -> None:
    signal = pixels(np.float64)
    cubes = transform.apply(signal, "trilinear")
    has_lattice = transform.with_interpolation("trilinear") != transform
    assert (cubes != transform.apply(signal)).any() == has_lattice
    np.testing.assert_array_equal(cubes, transform.apply(signal, interpolation="trilinear"))
    with pytest.raises(LutbenchError, match="no interpolation is named 'cubic'"):
        transform.apply(signal, "cubic")  # type: ignore[arg-type]


@every
@pytest.mark.parametrize(
    "bad",
    [
        "grey",
        None,
        [1, 2],
        [[1.0], [1.0, 2.0]],
        np.zeros((4, 4)),
        np.zeros((2, 3), np.int32),
        np.zeros((2, 3), np.uint32),
        np.zeros((2, 3), bool),
        np.zeros((2, 3), complex),
        np.array([["a", "b", "c"]]),
        np.array([None, 1, 2], object),
    ],
    ids=repr,
)
def test_what_is_no_picture_is_refused(transform: Transform, bad: Any) -> None:
    with pytest.raises(LutbenchError, match="accepted"):
        transform.apply(bad)


@pytest.mark.parametrize("transform", [LUT, MIX, TRANSFORMS["curve"]])
def test_what_is_no_place_for_a_result_is_refused(transform: Transform) -> None:
    signal = pixels(np.float32)
    frozen = signal.copy()
    frozen.flags.writeable = False
    for out in (frozen, signal[:1], signal.astype(np.float64), signal.tolist(), "out"):
        with pytest.raises(LutbenchError, match=r"out is|result is"):
            transform.apply(signal, out=out)  # type: ignore[arg-type]
    with pytest.raises(LutbenchError, match="threads"):
        transform.apply(signal, threads=0)
    with pytest.raises(LutbenchError, match="threads"):
        transform.apply(signal, threads="all")  # type: ignore[arg-type]


def test_codes_through_a_chain_are_those_of_apply_pixels() -> None:
    codes = pixels(np.uint8, (3000, 3))
    np.testing.assert_array_equal(
        (MIX | GRADE | LUT).apply(codes), apply_pixels([MIX, GRADE, LUT], codes)
    )


CHAINS = [[], [MIX], [GRADE], [GRADE.inverse()], [Clamp(0.2, 0.8)], [MIX, GRADE, LUT, RAMP]]


@pytest.mark.parametrize("chain", CHAINS, ids=repr)
@pytest.mark.parametrize(
    ("dtype", "out"),
    [
        pytest.param(dtype, out, marks=[pytest.mark.slow] * (out != np.uint8 and dtype != out))
        for dtype in (np.uint8, np.uint16, np.float32, np.float64)
        for out in (np.uint8, np.float32, np.float64)
    ],
)
def test_numpy_has_the_kernels_bits(
    chain: list[Transform], dtype: Any, out: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A few pixels are done in numpy, many by the kernel: nobody can tell which."""
    given = pixels(dtype, (3000, 3))
    if np.dtype(dtype).kind == "f":
        given = (given * 4 - 1).astype(dtype)
        odd = [np.nan, np.inf, -np.inf, 1e-40, -1e-40, 1e38, 0.0, -0.0]
        given[: len(odd)] = np.array(odd, dtype)[:, None]
        given[8, 1] = np.nan
    monkeypatch.setattr(over_pixels, "_is_few", lambda pixels, number: True)
    in_numpy = apply_pixels(chain, given, dtype=out)
    monkeypatch.setattr(over_pixels, "_is_few", lambda pixels, number: False)
    monkeypatch.setattr(plain, "run", None)
    compiled = apply_pixels(chain, given, dtype=out)
    np.testing.assert_array_equal(in_numpy, compiled)
