"""The nodes of a LUT, sampling, and the scale of values: codes or signals from 0 to 1."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lutbench import long_work
from lutbench.errors import FormatError, LutbenchError
from lutbench.model.transforms import Array, Mould, Pipeline, Transform, steps_of
from lutbench.tables.lut import (
    SIZES_1D,
    SIZES_3D,
    UNIT_DOMAIN,
    USUAL_SIZE,
    Interpolation,
    Lut,
    Lut1D,
    Lut3D,
    ShaperLut3D,
    axes_of,
    lattice,
    lattice_of,
)

GREYS_WITHOUT_NODES = 1025
"""Greys along the neutral axis if a shaper does not rise, so that nodes have no unique inputs."""

LARGEST_SIGNAL = 65504.0
"""The largest half float: products of larger outputs lose too many digits in float64, and no
picture has such values."""

LARGEST_INPUT = 65535.0
"""The highest 16-bit code: a domain in 16-bit codes is a fault that is named, not refused."""

LARGEST_PIXEL = float(np.finfo(np.float32).max)
"""The largest float32: a product of three still fits float64."""

SLAB_NODES = 1 << 20
"""Nodes of a large lattice that are worked on together: 24 MiB of float64."""

LEAST_WIDTH_SHARE = 1e-6
"""Least width of a domain that is examined, as a share of its ends, so that 65536 rows differ in
float64; and width of the neutral axis, in signal, if the channels' domains do not overlap."""


def checked_apply(transform: Transform, inputs: ArrayLike, most: float = LARGEST_SIGNAL) -> Array:
    """The outputs of `transform` as float64, checked to be finite and at most `most`.

    Raises
    ------
    LutbenchError
        When one is not.
    """
    return checked_outputs(np.asarray(transform.apply(inputs), dtype=np.float64), most)


def checked_outputs(outputs: NDArray[Any], most: float = LARGEST_SIGNAL) -> NDArray[Any]:
    """`outputs`, checked to be finite and at most `most`; LutbenchError if not."""
    reached = np.abs(outputs).max(initial=0.0)
    if not reached <= most:
        what = f"reaches {reached:.3g}" if np.isfinite(reached) else "is NaN or infinite"
        raise LutbenchError(
            f"the output {what}, which cannot be examined",
            accepted=f"outputs within ±{most:.6g}",
        )
    return outputs


def check_domain(transform: Transform) -> None:
    """Refuse a LUT whose domain is so large or so narrow that slopes have no meaning.

    Raises
    ------
    LutbenchError
        When an end is above `LARGEST_INPUT`, or the ends are nearer than `LEAST_WIDTH_SHARE`.
    """
    low, high = domain_of(transform)
    reached = max(1.0, float(np.abs([low, high]).max()))
    if reached > LARGEST_INPUT:
        raise LutbenchError(
            f"the domain reaches {reached:.6g}, which cannot be examined",
            accepted=f"a domain within ±{LARGEST_INPUT:.6g}",
        )
    width = float((high - low).min())
    if width < LEAST_WIDTH_SHARE * reached:
        raise LutbenchError(
            f"the domain is only {width:.3g} wide, which cannot be examined",
            accepted=f"at least {LEAST_WIDTH_SHARE * reached:.3g}",
        )


def greys(values: ArrayLike) -> Array:
    """Each value as R = G = B: shape (n,) becomes (n, 3).

    >>> greys([0.0, 0.5]).tolist()
    [[0.0, 0.0, 0.0], [0.5, 0.5, 0.5]]
    """
    return np.repeat(np.asarray(values, dtype=np.float64)[:, None], 3, axis=1)


def diagonal(table: NDArray[Any]) -> NDArray[Any]:
    """The nodes of a lattice (n, n, n, …) at which r = g = b, shape (n, …)."""
    index = np.arange(table.shape[0])
    return np.asarray(table[index, index, index])


def domain_of(*transforms: Transform) -> Array:
    """The smallest domain that includes those of all LUTs given, shape (2, 3); else 0..1."""
    domains = np.array([each.domain for each in transforms if isinstance(each, Lut)])
    if not len(domains):
        return np.array(UNIT_DOMAIN)
    return np.stack([domains[:, 0].min(axis=0), domains[:, 1].max(axis=0)])


def channels_alike(domain: Array) -> bool:
    """Whether a domain, shape (2, 3), is the same for each channel."""
    return bool((domain == domain[:, :1]).all())


def rises(curve: Lut1D) -> bool:
    """Whether every channel of a 1D LUT rises strictly, so that it has an inverse."""
    return bool((np.diff(curve.table, axis=0) > 0).all())


def before_shaper(shaper: Lut1D, values: ArrayLike) -> Array:
    """The inputs that a shaper takes to `values`, shape (..., 3), clamped to its domain.

    In a channel that does not rise strictly: the input of the row with the nearest value.

    >>> double = Lut1D([[0.0] * 3, [0.5] * 3, [2.0] * 3])
    >>> before_shaper(double, [0.25, 1.25, 9.0]).tolist()
    [0.25, 0.75, 1.0]
    """
    wanted = np.asarray(values, dtype=np.float64)
    inputs = axes_of(shaper)
    table = shaper.table.astype(np.float64)
    found = [
        np.interp(wanted[..., c], table[:, c], inputs[:, c])
        if (np.diff(table[:, c]) > 0).all()
        else inputs[_nearest_row(table[:, c], wanted[..., c]), c]
        for c in range(3)
    ]
    return np.stack(found, axis=-1)


def _nearest_row(column: Array, values: Array) -> NDArray[np.int64]:
    order = np.argsort(column, kind="stable")
    above = np.clip(np.searchsorted(column[order], values), 1, len(column) - 1)
    lower, upper = column[order[above - 1]], column[order[above]]
    return np.asarray(order[np.where(values - lower <= upper - values, above - 1, above)])


def node_inputs(lut: Lut) -> Array:
    """The inputs of a LUT's nodes, before its shaper if it has one.

    Shape (n, n, n, 3), indexed like the table; (n, 3) for a 1D LUT.
    """
    if isinstance(lut, Lut1D):
        return axes_of(lut)
    if isinstance(lut, ShaperLut3D):
        return before_shaper(lut.shaper, lut.lut.nodes)
    return lut.nodes


def node_input(lut: Lut, node: tuple[int, ...]) -> tuple[float, ...]:
    """The input of one node (r, g, b), or of one row (row,)."""
    inner = lut.lut if isinstance(lut, ShaperLut3D) else lut
    low, high = inner.domain
    place = np.array(node[:1] if isinstance(lut, Lut1D) else node)
    value = low + place / (lut.size - 1) * (high - low)
    if isinstance(lut, ShaperLut3D):
        value = before_shaper(lut.shaper, value)
    return tuple(float(each) for each in value)


def neutral_inputs(lut: Transform, size: int) -> Array:
    """Inputs along the neutral axis, shape (m,): those of the neutral nodes if there are any.

    With a shaper they are computed through its inverse, and both ends of its domain are
    added. If the channels' domains differ, nodes need not be neutral, and four times as many
    equal steps are used.

    Parameters
    ----------
    size
        The number of nodes along an edge; for a transform that is not a LUT, of inputs.
    """
    domain = domain_of(lut)
    low, high = float(domain[0].max()), float(domain[1].min())
    if isinstance(lut, ShaperLut3D):
        if not rises(lut.shaper):
            return np.linspace(low, high, GREYS_WITHOUT_NODES)
        inputs = before_shaper(lut.shaper, axes_of(lut.lut))[:, 1]
        inside = inputs[(inputs > low) & (inputs < high)]
        return np.concatenate([[low], inside, [high]])
    if not channels_alike(domain) or low >= high:
        return np.linspace(low, max(high, low + LEAST_WIDTH_SHARE), 4 * size + 1)
    return np.linspace(low, high, size)


def sample(
    transform: Transform,
    size: int = USUAL_SIZE,
    *,
    domain: ArrayLike = UNIT_DOMAIN,
    title: str = "",
    comments: tuple[str, ...] = (),
    interpolation: Interpolation = "tetrahedral",
) -> Lut3D:
    """The transform sampled at the nodes of a lattice of `size` (2 to 256) over `domain`.

    Raises
    ------
    LutbenchError
        When the size is out of range, or an output is not finite.
    """
    check_size(size, SIZES_3D)
    bounds = np.broadcast_to(np.asarray(domain, float).reshape(2, -1), (2, 3))
    table = _at_nodes(transform, size, bounds)
    return Lut3D(table, bounds, title, comments, interpolation)


def slabs_at_nodes(
    transform: Transform, size: int, domain: Array
) -> Iterator[tuple[slice, NDArray[Any]]]:
    """The transform at the nodes of a lattice, slab by slab along red: which, and the values.

    A 3D LUT that comes first and has these very nodes gives its table.
    """
    steps = steps_of(transform)
    own = steps[0] if steps else None
    if isinstance(own, Lut3D) and own.size == size and np.array_equal(own.domain, domain):
        after = Pipeline(tuple(steps[1:]))
        for place in slabs(size):
            yield place, after.apply(own.table[place].astype(np.float64))
        return
    axes = np.linspace(domain[0], domain[1], size)
    for place in slabs(size):
        yield place, transform.apply(lattice_of(axes[place, 0], axes[:, 1], axes[:, 2]))


def slabs(size: int) -> Iterator[slice]:
    """The parts of the first axis of a lattice that are worked on one after the other."""
    thick = max(1, SLAB_NODES // size**2)
    for start in range(0, size, thick):
        yield slice(start, min(size, start + thick))
        long_work.report("sampling", min(size, start + thick) / size)


def _at_nodes(transform: Transform, size: int, domain: Array) -> NDArray[np.float64]:
    mould = Mould((size, size, size, 3))
    for place, values in slabs_at_nodes(transform, size, domain):
        mould.array[place] = values
    return mould.sealed()


def sample_1d(
    transform: Transform,
    size: int = 1024,
    *,
    domain: ArrayLike = UNIT_DOMAIN,
    title: str = "",
    comments: tuple[str, ...] = (),
) -> Lut1D:
    """The transform sampled on the neutral axis, `size` rows (2 to 65536).

    Raises
    ------
    LutbenchError
        When channels depend on each other, which a 1D LUT cannot hold.
    """
    check_size(size, SIZES_1D)
    bounds = np.broadcast_to(np.asarray(domain, float).reshape(2, -1), (2, 3))
    probe = lattice(9, bounds)
    alone = np.empty_like(probe)
    axes = np.linspace(bounds[0], bounds[1], 9)
    curve = transform.apply(axes)
    for channel in range(3):
        shape = [1, 1, 1]
        shape[channel] = 9
        alone[..., channel] = curve[:, channel].reshape(shape)
    # Values that are not finite are refused with the table below.
    with np.errstate(invalid="ignore"):
        off = np.abs(transform.apply(probe) - alone).max()
    if off > 1e-9:
        raise LutbenchError(
            "the channels depend on each other, which a 1D LUT cannot hold", accepted="a 3D LUT"
        )
    table = transform.apply(np.linspace(bounds[0], bounds[1], size))
    return Lut1D(table, bounds, title, comments)


def sample_behind(
    transform: Transform,
    shaper: Lut1D,
    size: int,
    *,
    interpolation: Interpolation = "tetrahedral",
) -> ShaperLut3D:
    """The transform sampled behind a shaper that rises from 0 to 1, the same in all channels.

    The 3D nodes are sampled through the interpolated shaper, so that shaper and LUT together
    are exact at the nodes.
    """
    check_size(size, SIZES_3D)
    axis = before_shaper(shaper, greys(np.linspace(0, 1, size)))[:, 0]
    mould = Mould((size, size, size, 3))
    for place in slabs(size):
        mould.array[place] = transform.apply(lattice_of(axis[place], axis, axis))
    return ShaperLut3D(shaper, Lut3D(mould.sealed(), interpolation=interpolation))


def check_size(size: int, limits: tuple[int, int]) -> None:
    """Refuse a size outside `limits` (`SIZES_3D` or `SIZES_1D`) with a LutbenchError."""
    low, high = limits
    if not low <= size <= high:
        raise LutbenchError(f"a LUT size of {size} is out of range", accepted=f"{low} to {high}")


TOPS = {255: 8, 1023: 10, 4095: 12, 65535: 16}
"""From the highest code value of a full-range signal to its bit depth."""

NEAR_TOP_SHARE = 0.002
"""Share of the highest code by which a table with decimals may differ from it, by rounding."""

INTEGER = 1e-6
"""Largest difference from a whole number at which a value counts as one."""


def code_scale(planes: NDArray[Any]) -> int | None:
    """The highest code of the scale of a table's values; None if they are signals.

    Whole numbers above 2 are codes. With decimals, the greatest value has to be the highest
    code of a scale, since scene-linear tables have high values too.

    >>> code_scale(np.array([0.0, 512.0, 940.0])), code_scale(np.array([0.0, 0.5, 1.0]))
    (1023, None)
    """
    most = float(planes.max())
    if most <= 2:
        return None
    top = next((each for each in TOPS if most <= each * (1 + NEAR_TOP_SHARE)), None)
    if top is None:
        return None
    whole = float(np.abs(planes - np.rint(planes)).max()) <= INTEGER
    return top if whole or most >= top * (1 - NEAR_TOP_SHARE) else None


def domain_scale(domain: NDArray[Any]) -> int | None:
    """The highest code of the scale of a domain; None if it is not in codes.

    >>> domain_scale(np.array([[0.0, 0, 0], [1023.0, 1023, 1023]]))
    1023
    """
    low, high = domain
    if not (low == low[0]).all() or not (high == high[0]).all() or low[0] < 0 or low[0] > 64:
        return None
    return int(high[0]) if high[0] in TOPS else None


def refuse_code_values(transform: Transform, where: str) -> None:
    """Refuse a LUT whose table or domain is in code values, which would give white or black.

    `where` names the file in the error.

    Raises FormatError when it is.
    """
    if not isinstance(transform, Lut1D | Lut3D | ShaperLut3D):
        return
    last = transform.lut if isinstance(transform, ShaperLut3D) else transform
    accepted = "signals from 0 to 1; `lutbench rework repair` converts it"
    if (top := code_scale(np.moveaxis(last.table, -1, 0))) is not None:
        what = f"the table holds {TOPS[top]}-bit code values: every pixel would come out white"
        raise FormatError(what, where=where, accepted=accepted)
    if (top := domain_scale(transform.domain)) is not None:
        what = f"the domain is in {TOPS[top]}-bit code values: every pixel would come out black"
        raise FormatError(what, where=where, accepted=accepted)
