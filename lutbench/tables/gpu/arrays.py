"""Arrays on a CUDA device, of any library: used without a copy, results in the same library.

CuPy and torch arrays are used on the current stream of their own library. Any other
array that supports DLPack or the CUDA array interface states the stream to wait for, and
its result is converted with its own library's ``from_dlpack``.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from importlib import import_module
from typing import Any, NamedTuple

import numpy as np

from lutbench.errors import LutbenchError

ALIGNMENT_BYTES = 16
"""Bytes, more than any word that a kernel reads."""

ON_A_DEVICE = (2, 13)
"""DLPack's kinds of device: CUDA, CUDA managed."""

# Module and function that import an array, if not `from_dlpack` of the library itself.
TAKERS = {"jax": ("jax.dlpack", "from_dlpack"), "jaxlib": ("jax.dlpack", "from_dlpack"),
          "numba": ("numba.cuda", "as_cuda_array")}  # fmt: skip


def is_on_device(array: Any) -> bool:
    """Whether an array is in the memory of a CUDA device; fast for any other object."""
    if isinstance(array, np.ndarray) or "numpy" in type(array).__module__:
        return False
    place = getattr(type(array), "__dlpack_device__", None)
    if place is not None:
        return int(place(array)[0]) in ON_A_DEVICE
    return hasattr(type(array), "__cuda_array_interface__")


def cupy() -> Any:
    """The module of CuPy, which all work on a device needs.

    Raises LutbenchError when it is not installed.
    """
    try:
        found = import_module("cupy")
    except ImportError:
        raise LutbenchError(
            "work on a CUDA device needs CuPy, which is not installed",
            accepted="pip install 'lutbench[gpu]'",
        ) from None
    return found


def devices() -> int:
    """The number of CUDA devices that this process can use; 0 without CuPy or a driver.

    >>> devices() >= 0
    True
    """
    try:
        return int(cupy().cuda.runtime.getDeviceCount())
    except (LutbenchError, RuntimeError):  # CuPy's errors of the driver are RuntimeErrors
        return 0


class Stream(NamedTuple):
    """A stream of another library, with the attributes that CuPy needs to launch a kernel."""

    ptr: int

    def __cuda_stream__(self) -> tuple[int, int]:
        return 0, self.ptr


class ArrayFacts(NamedTuple):
    """What a launch needs to know of an array, read without converting it to CuPy."""

    make: tuple[Any, ...]  # arrays with the same make can use the same kernel
    address: int
    end: int | None  # the first byte after it; None if it is not contiguous
    stream: Any  # its library's current stream; None for the current stream of CuPy
    empty: Callable[[], Any]  # makes a new array like it


def look(array: Any) -> ArrayFacts | None:
    """The facts of a CuPy or torch array; None for others, which have to be converted to CuPy."""
    library = type(array).__module__.partition(".")[0]
    if library == "cupy":
        return _look_at_cupy(array)
    if library == "torch":
        return _look_at_torch(array)
    return None


def _look_at_cupy(array: Any) -> ArrayFacts | None:
    memory, cp = array.data, sys.modules["cupy"]
    if memory.device_id != cp.cuda.runtime.getDevice():
        return None
    address, shape = memory.ptr, array.shape
    make = (memory.device_id, shape, array.strides, array.dtype, address % ALIGNMENT_BYTES)
    end = address + array.nbytes if array.flags.c_contiguous else None
    return ArrayFacts(make, address, end, None, lambda: cp.empty(shape, array.dtype))


def _look_at_torch(tensor: Any) -> ArrayFacts | None:
    torch, place = sys.modules["torch"], tensor.device
    if place.index != torch.cuda.current_device() or tensor.requires_grad:
        return None
    address = tensor.data_ptr()
    make = (place.index, tensor.shape, tensor.stride(), tensor.dtype, address % ALIGNMENT_BYTES)
    end = address + tensor.nbytes if tensor.is_contiguous() else None
    stream = Stream(torch.cuda.current_stream().cuda_stream)
    return ArrayFacts(make, address, end, stream, lambda: torch.empty_like(tensor))


class Borrowed:
    """An array of some library as CuPy sees it: the same memory.

    `view` is the CuPy array, `library` the name of the package it came from.
    """

    def __init__(self, array: Any, name: str = "pixels") -> None:
        self.library = type(array).__module__.split(".")[0]
        self.own = array
        if self.library == "cupy":
            self.view = array
            return
        if getattr(array, "requires_grad", False):
            raise LutbenchError(
                "the tensor requires gradients, which a LUT does not compute",
                where=name,
                accepted="tensor.detach()",
            )
        cp = cupy()
        with _errors(array, name), on_stream(array):
            speaks = hasattr(array, "__dlpack__")
            self.view = cp.from_dlpack(array) if speaks else cp.asarray(array)

    def empty(self, dtype: Any) -> Borrowed:
        """A new array of the same kind, shape and device."""
        cp = cupy()
        if self.library == "torch":
            torch = sys.modules["torch"]
            kind = getattr(torch, np.dtype(dtype).name, None)
            if kind is None:
                raise LutbenchError(f"this version of torch has no {np.dtype(dtype)}")
            return Borrowed(torch.empty(self.own.shape, dtype=kind, device=self.own.device))
        fresh = Borrowed(cp.empty(self.view.shape, dtype))
        fresh.library = self.library
        return fresh

    def result(self) -> Any:
        """The array as an array of its own library."""
        if self.library == "cupy" or not hasattr(self.own, "device") or self.own is not self.view:
            return self.own
        module, taker = TAKERS.get(self.library, (self.library, "from_dlpack"))
        try:
            take = getattr(import_module(module), taker)
        except (ImportError, AttributeError):
            return self.view  # the library cannot import arrays; CuPy's supports both protocols
        return take(self.view)


@contextmanager
def on_stream(array: Any) -> Iterator[None]:
    """A context for work on the array's device and its library's current stream."""
    cp = cupy()
    if type(array).__module__.split(".")[0] == "torch":
        torch = sys.modules["torch"]
        here = torch.cuda.current_stream(array.device)
        with cp.cuda.Device(array.device.index), _taken_over(Stream(here.cuda_stream)):
            yield
    elif isinstance(array, cp.ndarray):
        with array.device:
            yield
    else:
        with cp.cuda.Device(_ordinal(array)):
            yield


def _taken_over(stream: Stream) -> Any:
    """A stream of another library as CuPy's own."""
    streams = cupy().cuda
    if hasattr(streams.Stream, "from_external"):
        return streams.Stream.from_external(stream)
    return streams.ExternalStream(stream.ptr)  # before CuPy 14


def _ordinal(array: Any) -> int:
    """The number of the device that an array is on."""
    if hasattr(array, "__dlpack_device__"):
        return int(array.__dlpack_device__()[1])
    pointer = array.__cuda_array_interface__["data"][0]
    return int(cupy().cuda.runtime.pointerGetAttributes(pointer).device)


@contextmanager
def _errors(array: Any, name: str) -> Iterator[None]:
    try:
        yield
    except (BufferError, TypeError, ValueError, RuntimeError) as error:
        reason = str(error).splitlines()[0] if str(error) else type(error).__name__
        kind = f"{type(array).__module__}.{type(array).__name__}"
        raise LutbenchError(
            f"{kind} cannot be used on the device: {reason}",
            where=name,
            accepted="an array that supports DLPack or the CUDA array interface",
        ) from None
