"""Stream arrays of the host through CUDA devices, in both directions of the bus at once.

Pixels are processed in chunks, which a few threads take from one queue. Each thread has its own
stream: it copies its chunk into pinned memory, sends it, processes it, fetches it and copies it
out, while the other threads are at another of these steps. An array in pinned memory is sent
without the copy. Chunks go to all devices that are named.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from queue import Empty, SimpleQueue
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from lutbench.errors import LutbenchError
from lutbench.long_work import thread_limit
from lutbench.model.transforms import Transform
from lutbench.tables.gpu.arrays import cupy, devices
from lutbench.tables.gpu.run import Codes, launch

PINNED_BYTES = 1 << 26
"""Bytes of a chunk that is sent without a copy: long enough to use the bus fully."""

COPIED_BYTES = 1 << 24
"""Bytes of a chunk that the processor copies: many are in progress at once."""

LANES = 4
"""Threads for one device, at least: one each to send, process, fetch and copy."""


def named_devices(name: str) -> list[int]:
    """The numbers of the devices with a name: ``"cuda"`` for all of them, ``"cuda:1"`` for one.

    Raises LutbenchError for another name, or when there is no such device.
    """
    there = devices()
    if name == "cuda" and there:
        return list(range(there))
    head, _, number = name.partition(":")
    if head == "cuda" and number.isdecimal() and int(number) < there:
        return [int(number)]
    cupy()  # raises if CuPy is missing
    found = ", ".join(["cuda", *(f"cuda:{k}" for k in range(there))])
    raise LutbenchError(
        f"no device is named {name!r}",
        where="device",
        accepted=found if there else "nothing: this machine has no CUDA device",
    )


class On(NamedTuple):
    """The devices to use, and the largest number of threads that copy for them."""

    devices: Sequence[int]
    threads: int | None = None


def apply_from_host(
    transforms: Sequence[Transform],
    pixels: NDArray[Any],
    out: NDArray[Any],
    codes: Codes,
    on: On,
) -> None:
    """Apply the chain to an array of the host, shape (..., 3), on devices; the result in `out`."""
    src = np.ascontiguousarray(pixels).reshape(-1, 3)
    dst = out.reshape(-1, 3) if out.flags.c_contiguous else np.empty(src.shape, out.dtype)
    if np.may_share_memory(src, dst) and src.ctypes.data != dst.ctypes.data:
        src = src.copy()
    pinned = _is_pinned(src), _is_pinned(dst)
    size = PINNED_BYTES if all(pinned) else COPIED_BYTES
    count = max(1, size // (3 * max(src.itemsize, dst.itemsize)))
    chunks: SimpleQueue[slice] = SimpleQueue()
    for at in range(0, len(src), count):
        chunks.put(slice(at, min(at + count, len(src))))
    job = _Job(transforms, src, dst, codes, chunks)
    copying = 0 if all(pinned) else thread_limit(on.threads)
    each = max(LANES, -(-copying // len(on.devices)))
    lanes = (list(on.devices) * each)[: max(1, chunks.qsize())]
    with ThreadPoolExecutor(len(lanes)) as pool:
        try:
            for lane in [pool.submit(_work, job, number, count, pinned) for number in lanes]:
                lane.result()
        finally:  # after an error or an interruption the other chunks are dropped
            _emptied(chunks)
    if not np.may_share_memory(dst, out):
        out[...] = dst.reshape(out.shape)


class _Job(NamedTuple):
    transforms: Sequence[Transform]
    src: NDArray[Any]
    dst: NDArray[Any]
    codes: Codes
    chunks: SimpleQueue[slice]


def _work(job: _Job, device: int, count: int, pinned: tuple[bool, bool]) -> None:
    """Process chunks from the queue until none is left, with an own stream and own buffers."""
    from cupyx import empty_pinned

    cp = cupy()
    shape = (min(count, len(job.src)), 3)
    with cp.cuda.Device(device), cp.cuda.Stream(non_blocking=True) as stream:
        here, there = cp.empty(shape, job.src.dtype), cp.empty(shape, job.dst.dtype)
        inbox = None if pinned[0] else empty_pinned(shape, job.src.dtype)
        outbox = None if pinned[1] else empty_pinned(shape, job.dst.dtype)
        for span in iter(lambda: _next(job.chunks), None):
            length = span.stop - span.start
            chunk, back = job.src[span], job.dst[span]
            if inbox is not None:
                np.copyto(inbox[:length], chunk)
                chunk = inbox[:length]
            here[:length].set(chunk, stream)
            launch(job.transforms, here[:length], there[:length], job.codes)
            there[:length].get(
                stream=stream, out=back if outbox is None else outbox[:length], blocking=False
            )
            stream.synchronize()
            if outbox is not None:
                np.copyto(back, outbox[:length])


def _next(chunks: SimpleQueue[slice]) -> slice | None:
    try:
        return chunks.get_nowait()
    except Empty:
        return None


def _emptied(chunks: SimpleQueue[slice]) -> None:
    while _next(chunks) is not None:
        pass


def _is_pinned(array: NDArray[Any]) -> bool:
    """Whether the memory of an array is pinned, so that a device can read it directly."""
    runtime = cupy().cuda.runtime
    try:
        kind = runtime.pointerGetAttributes(array.ctypes.data).type
    except RuntimeError:
        return False
    return bool(kind == runtime.memoryTypeHost)
