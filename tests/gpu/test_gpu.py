"""Pixels on a CUDA device: held against the compiled kernels of the processor.

Those are held against other libraries in tests/tables. The tolerance of floats is the
promise of both against exact arithmetic: 2e-6 for values up to 1 (a handful of float32
roundings); codes may differ by one where a value lies between two of them.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from lutbench.errors import LutbenchError
from lutbench.model.grade import Cdl, Saturation
from lutbench.model.transforms import Clamp, Matrix, Transform
from lutbench.tables.gpu import arrays
from lutbench.tables.gpu.arrays import devices, is_on_device
from lutbench.tables.lut import Lut1D, Lut3D, ShaperLut3D
from lutbench.tables.pixels import apply_pixels

needs_device = pytest.mark.skipif(devices() == 0, reason="no CUDA device with CuPy here")
if devices():
    import cupy as cp

RNG = np.random.default_rng(20261128)
DOMAIN = np.array([[-0.07, 0.0, 0.01], [1.09, 1.0, 7.3]])


def lattice(size: int, domain: Any = (0.0, 1.0)) -> Lut3D:
    return Lut3D(RNG.random((size, size, size, 3)).astype(np.float32), np.array(domain))


def smooth(size: int) -> Lut3D:
    """A lattice of slopes near 1: a steep one would magnify the roundings of steps before it."""
    grid = np.stack(np.meshgrid(*[np.linspace(0, 1, size)] * 3, indexing="ij"), axis=-1)
    return Lut3D(0.8 * grid + 0.2 * grid[..., ::-1] ** 2)


def ramp(size: int, domain: Any = (0.0, 1.0)) -> Lut1D:
    """A curve of slopes near 1 over its domain, different by channel."""
    return Lut1D(np.linspace(0, 1, size)[:, None] ** [0.9, 1.0, 1.2], np.array(domain))


def curve(size: int, domain: Any = (0.0, 1.0)) -> Lut1D:
    return Lut1D(np.sort(RNG.random((size, 3)), axis=0), np.array(domain))


MATRIX = Matrix(
    ((1.6605, -0.5876, -0.0728), (-0.1246, 1.1329, -0.0083), (-0.0182, -0.1006, 1.1187))
)
CDL = Cdl((1.1, 0.95, 1.02), (0.01, -0.02, 0.0), (0.9, 1.1, 1.25), 0.85)
CHAINS: dict[str, list[Transform]] = {
    "33 nodes": [lattice(33)],
    "17 nodes, a domain of its own": [lattice(17, DOMAIN)],
    "65 nodes, trilinear": [lattice(65).with_interpolation("trilinear")],
    "20 nodes, float64": [Lut3D(RNG.random((20, 20, 20, 3)))],
    "a lattice far beyond 1": [Lut3D(300 * RNG.random((9, 9, 9, 3)) - 100)],
    "curve": [curve(1024)],
    "curve of 4000 rows, a domain of its own": [curve(4000, DOMAIN)],
    "shaper": [ShaperLut3D(ramp(4096, (-0.1, 1.2)), smooth(33))],
    "matrix": [MATRIX],
    "CDL and its inverse": [CDL, CDL.inverse()],
    "all in one": [Saturation(1.2), MATRIX, Clamp(0, 1), CDL, ramp(1024), smooth(33)],
    "nothing": [],
}


def pixels(kind: str, shape: tuple[int, ...] = (37, 41, 3)) -> np.ndarray[Any, Any]:
    if kind.startswith("uint"):
        return RNG.integers(0, np.iinfo(kind).max + 1, shape).astype(kind)
    return (RNG.random(shape) * 1.2 - 0.1).astype(kind)


def reference(steps: list[Transform], source: Any, kind: str, **settings: Any) -> Any:
    """The processor's result; for float16 before it is rounded to that type."""
    wanted = "float32" if kind == "float16" else kind
    return apply_pixels(steps, source, dtype=wanted, **settings)


def agrees(found: Any, wanted: Any) -> None:
    found = cp.asnumpy(found)
    assert found.shape == wanted.shape
    if found.dtype.kind == "u":
        assert np.abs(found.astype(int) - wanted.astype(int)).max(initial=0) <= 1
        return
    assert (np.isnan(found) == np.isnan(wanted)).all()
    near = np.nan_to_num(wanted.astype(np.float64))
    tolerance = 2e-6 * np.maximum(1, np.abs(near).max(initial=0))
    if found.dtype == np.float16:
        tolerance = tolerance + np.abs(near) * 2.0**-11 + 2.0**-25  # half a step of the type
    assert (np.abs(np.nan_to_num(found.astype(np.float64)) - near) <= tolerance).all()


@needs_device
@pytest.mark.parametrize("chain", CHAINS)
@pytest.mark.parametrize("kind", ["uint8", "uint16", "float16", "float32", "float64"])
def test_every_step_and_type(chain: str, kind: str) -> None:
    source = pixels(kind)
    wanted = reference(CHAINS[chain], source, kind)
    agrees(apply_pixels(CHAINS[chain], cp.asarray(source)), wanted)


@needs_device
@pytest.mark.parametrize("to", ["uint8", "uint16", "float16", "float32", "float64"])
@pytest.mark.parametrize("kind", ["uint8", "uint16", "float32", "float64"])
def test_from_type_to_type(kind: str, to: str) -> None:
    steps, source = CHAINS["33 nodes"], pixels(kind)
    settings = {"bits": 10} if kind == "uint16" else {}
    if kind == "uint16":
        source = source >> 6
    settings |= {"out_bits": 12} if to == "uint16" else {}
    wanted = reference(steps, source, to, **settings)
    agrees(apply_pixels(steps, cp.asarray(source), dtype=to, **settings), wanted)


LAYOUTS: dict[str, Callable[[Any], Any]] = {
    "as it is": lambda a: a,
    "every other pixel": lambda a: a[:, ::2],
    "one row of three": lambda a: a[::3],
    "backwards": lambda a: a[::-1, ::-1],
    "an odd offset": lambda a: a[1:, :, :],
    "one pixel": lambda a: a[:1, :1],
    "no pixel": lambda a: a[:0],
    "columns first": lambda a: a.transpose(1, 0, 2),
    "channels turned round": lambda a: a[..., ::-1],
    "planes, last axis": lambda a: cp.moveaxis(cp.ascontiguousarray(cp.moveaxis(a, -1, 0)), 0, -1),
    "three of four channels": lambda a: cp.concatenate([a, a[..., :1]], axis=-1)[..., :3],
    "frames": lambda a: cp.stack([a, a, a]),
}


@needs_device
@pytest.mark.parametrize("layout", LAYOUTS)
@pytest.mark.parametrize("kind", ["uint8", "uint16", "float16", "float32", "float64"])
def test_any_strides(layout: str, kind: str) -> None:
    view = LAYOUTS[layout](cp.asarray(pixels(kind)))
    for steps in (CHAINS["33 nodes"], CHAINS["all in one"]):
        wanted = reference(steps, cp.asnumpy(view), kind)
        agrees(apply_pixels(steps, view), wanted)


@needs_device
@pytest.mark.parametrize("width", [640, 41])
@pytest.mark.parametrize("kind", ["uint8", "uint16", "float16", "float32"])
def test_planar(kind: str, width: int) -> None:
    source = pixels(kind, (3, 19, width))
    wanted = reference(CHAINS["33 nodes"], source, kind, planar=True)
    agrees(apply_pixels(CHAINS["33 nodes"], cp.asarray(source), planar=True), wanted)


@needs_device
@pytest.mark.parametrize("kind", ["float16", "float32", "float64"])
@pytest.mark.parametrize(
    "chain", ["33 nodes", "17 nodes, a domain of its own", "shaper", "all in one"]
)
def test_values_that_are_no_colours(chain: str, kind: str) -> None:
    odd = np.array([0, -0.0, 1, np.nan, np.inf, -np.inf, 1e-30, -1, 2, 6e4], kind)
    source = np.stack(np.meshgrid(odd, odd, odd, indexing="ij"), axis=-1)
    with np.errstate(all="ignore"):
        wanted = reference(CHAINS[chain], source, kind)
    agrees(apply_pixels(CHAINS[chain], cp.asarray(source)), wanted)


def stored(lut: Lut3D, steps: int, scale: float = 1.0, low: float = 0.0) -> Lut3D:
    """The LUT as a file with values in whole steps gives it."""
    return Lut3D(np.rint((lut.table * scale + low) * steps) / steps, domain=lut.domain)


STORED = {
    "six decimals": stored(lattice(33), 1_000_000),
    "six decimals, a domain of its own": stored(lattice(17, DOMAIN), 1_000_000),
    "six decimals, from -0.5 to 1.5": stored(lattice(65), 1_000_000, 2.0, -0.5),
    "ten-bit codes": stored(lattice(33), 1023),
    "sixteen-bit codes": stored(lattice(2), 65535),
}


@needs_device
@pytest.mark.parametrize("case", STORED)
def test_a_table_of_whole_steps_loses_nothing(case: str) -> None:
    """Its nodes are read from half the memory, and come out within two roundings of float32."""
    lut, source = STORED[case], pixels("float32", (300, 300, 3))
    agrees(lut.apply(cp.asarray(source)), lut.apply(source))
    if (lut.domain == STORED["six decimals"].domain).all():
        line = np.linspace(0, 1, len(lut.table), dtype=np.float32)  # 2**k + 1 nodes: exact
        nodes = np.stack(np.meshgrid(line, line, line, indexing="ij"), axis=-1)
        found = cp.asnumpy(lut.apply(cp.asarray(nodes)))
        assert np.allclose(found, lut.table, rtol=2.0**-23, atol=2.0**-25)


@needs_device
def test_in_place_and_into_a_given_array() -> None:
    steps, source = CHAINS["33 nodes"], pixels("float32")
    wanted = apply_pixels(steps, source)
    here = cp.asarray(source)
    assert apply_pixels(steps, here, out=here) is here
    agrees(here, wanted)
    whole = cp.asarray(source)
    apply_pixels(steps, whole[:-1], out=whole[1:])  # the result lies over pixels to come
    agrees(whole[1:], wanted[:-1])
    rgba = cp.full((37, 41, 4), 7, cp.float32)
    apply_pixels(steps, cp.asarray(source), out=rgba[..., :3])
    agrees(rgba[..., :3], wanted)
    assert (rgba[..., 3] == 7).all()


@needs_device
def test_the_same_bits_each_time_and_in_any_split() -> None:
    steps, source = CHAINS["all in one"], cp.asarray(pixels("float32", (1000, 7, 3)))
    once = apply_pixels(steps, source)
    for _ in range(5):
        assert (apply_pixels(steps, source) == once).all()
    parts = [apply_pixels(steps, part) for part in cp.array_split(source, 13)]
    assert (cp.concatenate(parts) == once).all()


@needs_device
@pytest.mark.parametrize("kind", ["lut1d", "lut3d", "shaper"])
def test_the_lut_itself(kind: str) -> None:
    lut: Any = {"lut1d": curve(33), "lut3d": lattice(17), "shaper": CHAINS["shaper"][0]}[kind]
    source = pixels("float32")
    found = lut.apply(cp.asarray(source))
    assert isinstance(found, cp.ndarray)
    agrees(found, lut.apply(source))
    if kind != "lut1d":
        agrees(lut.apply(cp.asarray(source), "trilinear"), lut.apply(source, "trilinear"))


@needs_device
def test_torch_on_its_own_stream() -> None:
    torch = pytest.importorskip("torch")
    lut, source = lattice(33), pixels("float32", (1080, 1920, 3))
    wanted = lut.apply(source)
    side = torch.cuda.Stream()
    with torch.cuda.stream(side):
        here = torch.from_numpy(source).pin_memory().cuda(non_blocking=True)
        found = lut.apply(here)
        twice = found + 0  # torch's own work must wait for ours, on the same stream
    assert isinstance(found, torch.Tensor)
    assert found.device == here.device
    torch.cuda.synchronize()
    agrees(cp.asarray(twice), wanted)
    half = lut.apply(here.half())
    assert half.dtype == torch.float16
    into = torch.empty_like(here)
    assert apply_pixels([lut], here, out=into) is into
    agrees(cp.asarray(into), wanted)
    with pytest.raises(LutbenchError, match=r"detach"):
        lut.apply(here.requires_grad_())


@needs_device
def test_jax() -> None:
    jax = pytest.importorskip("jax")
    lut, source = lattice(33), pixels("float32")
    found = lut.apply(jax.device_put(source))
    assert isinstance(found, jax.Array)
    agrees(cp.from_dlpack(found), lut.apply(source))


@needs_device
def test_whatever_has_the_array_interface() -> None:
    class Foreign:
        def __init__(self, array: Any) -> None:
            self.array = array

        @property
        def __cuda_array_interface__(self) -> dict[str, Any]:
            return dict(self.array.__cuda_array_interface__)

    lut, source = lattice(33), pixels("float32")
    found = lut.apply(Foreign(cp.asarray(source)))
    agrees(cp.asarray(found), lut.apply(source))


@needs_device
@pytest.mark.parametrize("kind", ["uint8", "float32"])
@pytest.mark.parametrize("pinned", [False, True])
def test_an_array_of_the_host_streamed(kind: str, pinned: bool) -> None:
    from cupyx import empty_pinned

    steps, source = CHAINS["33 nodes"], pixels(kind, (1500, 2600, 3))
    wanted = apply_pixels(steps, source)
    out = None
    if pinned:
        held, out = empty_pinned(source.shape, kind), empty_pinned(source.shape, kind)
        held[...] = source
        source = held
    found = apply_pixels(steps, source, out=out, device="cuda")
    assert isinstance(found, np.ndarray)
    agrees(found, wanted)
    agrees(apply_pixels(steps, source[:, ::3], device="cuda:0"), wanted[:, ::3])


@needs_device
def test_every_device_works_where_the_data_lives() -> None:
    lut, source = lattice(33), pixels("float32")
    wanted = lut.apply(source)
    for number in range(devices()):
        with cp.cuda.Device(number):
            here = cp.asarray(source)
        found = lut.apply(here)  # whichever device is the current one
        assert found.device.id == number
        agrees(found, wanted)


@needs_device
def test_what_cannot_be_done_is_said_in_one_line() -> None:
    lut, here = lattice(3), cp.zeros((4, 3), cp.float32)
    with pytest.raises(LutbenchError, match=r"int32 is not a type of pixels.*uint8"):
        lut.apply(cp.zeros((4, 3), cp.int32))
    with pytest.raises(LutbenchError, match=r"not R G B"):
        lut.apply(cp.zeros((4, 4), cp.float32))
    with pytest.raises(LutbenchError, match=r"cannot be used on the device|out"):
        apply_pixels([lut], here, out=np.zeros((4, 3), np.float32))
    with pytest.raises(LutbenchError, match=r"no device is named 'cuda:99'"):
        apply_pixels([lut], np.zeros((4, 3), np.float32), device="cuda:99")


# -- Without a device -----------------------------------------------------------


class OnDevice:
    """What the library can see of an array that lives on a device, and no more."""

    def __dlpack_device__(self) -> tuple[int, int]:
        return 2, 0


def test_arrays_of_the_host_are_told_apart() -> None:
    assert not any(map(is_on_device, (np.zeros(3), [0, 0, 0], np.float32(1), 5, None)))
    assert is_on_device(OnDevice())


def test_without_cupy_the_extra_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(__import__("sys").modules, "cupy", None)
    with pytest.raises(LutbenchError, match=r"needs CuPy.*lutbench\[gpu\]"):
        lattice(2).apply(OnDevice())  # type: ignore[arg-type]
    with pytest.raises(LutbenchError, match=r"needs CuPy"):
        apply_pixels([MATRIX], np.zeros((1, 3)), device="cuda")


def test_cupy_is_never_imported_for_the_host(monkeypatch: pytest.MonkeyPatch) -> None:
    def fail() -> None:
        raise AssertionError("asked for CuPy")

    monkeypatch.setattr(arrays, "cupy", fail)
    assert lattice(2).apply(np.zeros((5, 3), np.float32)).shape == (5, 3)
