"""Arrays of the host through CUDA devices: both directions of the bus at work at once.

Pixels go in chunks. A chunk is copied into pinned memory, sent, worked on and sent
back on a stream of its own, while the next ones are on their way; chunks are dealt
out to all devices that are named. An array whose memory is pinned already is sent
as it lies.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from lutbench.errors import LutbenchError
from lutbench.model.transforms import Transform
from lutbench.tables.gpu.arrays import cupy, devices
from lutbench.tables.gpu.run import Codes, launch
from lutbench.tables.threads import thread_limit

CHUNK_BYTES = 1 << 25  # of a chunk's pixels: long enough for the bus, short enough to overlap
SLOTS = 3  # chunks on their way on one device: in, at work, out


def named_devices(name: str) -> list[int]:
    """The devices that a name means: ``"cuda"`` is all of them, ``"cuda:1"`` one.

    Raises
    ------
    LutbenchError
        For another name, or when there is no such device.
    """
    there = devices()
    if name == "cuda" and there:
        return list(range(there))
    head, _, number = name.partition(":")
    if head == "cuda" and number.isdecimal() and int(number) < there:
        return [int(number)]
    cupy()  # says so where CuPy is what is missing
    found = ", ".join(["cuda", *(f"cuda:{k}" for k in range(there))])
    raise LutbenchError(
        f"no device is named {name!r}",
        where="device",
        accepted=found if there else "nothing: this machine shows no CUDA device",
    )


def apply_from_host(
    transforms: Sequence[Transform],
    pixels: NDArray[Any],
    out: NDArray[Any],
    codes: Codes,
    on: On,
) -> None:
    """Run the chain over an array (..., 3) of the host into another, through devices."""
    src = np.ascontiguousarray(pixels).reshape(-1, 3)
    dst = out.reshape(-1, 3) if out.flags.c_contiguous else np.empty(src.shape, out.dtype)
    if np.may_share_memory(src, dst) and src.ctypes.data != dst.ctypes.data:
        src = src.copy()
    count = max(1, CHUNK_BYTES // (3 * max(src.itemsize, dst.itemsize)))
    spans = [slice(at, min(at + count, len(src))) for at in range(0, len(src), count)]
    with Copier(thread_limit(on.threads)) as copier:
        lanes = [_Lane(src, dst, number, count, copier) for number in on.lanes(len(spans))]
        try:
            for span, lane in zip(spans, itertools.cycle(lanes), strict=False):
                lane.send(transforms, span, codes)
            for lane in lanes:
                lane.finish()
        finally:
            for lane in lanes:
                lane.stream.synchronize()
    if not np.may_share_memory(dst, out):
        out[...] = dst.reshape(out.shape)


class On(NamedTuple):
    """Which devices work, and how many threads copy for them at most."""

    devices: Sequence[int]
    threads: int | None = None

    def lanes(self, chunks: int) -> list[int]:
        """The devices in the order in which chunks are dealt: each in turn, a few times."""
        return (list(self.devices) * SLOTS)[:chunks]


class Copier:
    """Copies to and from pinned memory in several threads: one alone is slower than the bus."""

    def __init__(self, threads: int) -> None:
        self.threads = threads
        self.pool = ThreadPoolExecutor(threads)

    def __enter__(self) -> Copier:
        return self

    def __exit__(self, *_: object) -> None:
        self.pool.shutdown()

    def start(self, source: NDArray[Any], target: NDArray[Any]) -> list[Future[None]]:
        """Begin to copy; numpy lets other threads work while it does."""
        edges = np.linspace(0, len(source), self.threads + 1).astype(int)
        return [
            self.pool.submit(np.copyto, target[begin:end], source[begin:end])
            for begin, end in itertools.pairwise(edges)
        ]


class _Lane:
    """One chunk's way through a device: its stream, its buffers, and what is still to come."""

    def __init__(
        self, src: NDArray[Any], dst: NDArray[Any], device: int, count: int, copier: Copier
    ) -> None:
        from cupyx import empty_pinned

        cp = cupy()
        shape = (min(count, len(src)), 3)
        self.src, self.dst, self.copier = src, dst, copier
        self.device = cp.cuda.Device(device)
        with self.device:
            self.stream = cp.cuda.Stream(non_blocking=True)
            self.here, self.there = cp.empty(shape, src.dtype), cp.empty(shape, dst.dtype)
            self.done = cp.cuda.Event(disable_timing=True)
        self.inbox = None if _is_pinned(src) else empty_pinned(shape, src.dtype)
        self.outbox = None if _is_pinned(dst) else empty_pinned(shape, dst.dtype)
        self.waiting: slice | None = None
        self.taking: list[Future[None]] = []

    def send(self, transforms: Sequence[Transform], span: slice, codes: Codes) -> None:
        """Take back the chunk that was here, and send the next."""
        self._take_back()
        length = span.stop - span.start
        chunk = self.src[span]
        if self.inbox is not None:
            _wait(self.copier.start(chunk, self.inbox[:length]))
            chunk = self.inbox[:length]
        _wait(self.taking)  # the outbox is to be written again
        back = self.dst[span] if self.outbox is None else self.outbox[:length]
        with self.device, self.stream:
            self.here[:length].set(chunk, self.stream)
            launch(transforms, self.here[:length], self.there[:length], codes)
            self.there[:length].get(stream=self.stream, out=back, blocking=False)
            self.done.record(self.stream)
        self.waiting = span

    def finish(self) -> None:
        """See that the last chunk is back in its place."""
        self._take_back()
        _wait(self.taking)

    def _take_back(self) -> None:
        span, self.waiting = self.waiting, None
        if span is not None:
            self.done.synchronize()
            if self.outbox is not None:
                back = self.outbox[: span.stop - span.start]
                self.taking = self.copier.start(back, self.dst[span])


def _wait(copies: list[Future[None]]) -> None:
    for each in copies:
        each.result()


def _is_pinned(array: NDArray[Any]) -> bool:
    """Whether the memory of an array is pinned, so that a device reads it by itself."""
    runtime = cupy().cuda.runtime
    try:
        kind = runtime.pointerGetAttributes(array.ctypes.data).type
    except RuntimeError:
        return False
    return bool(kind == runtime.memoryTypeHost)
