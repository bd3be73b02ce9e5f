"""Memory of frames, used again instead of being given back to the system after each one.

The C library gives large blocks back at once, and the system clears each new one: for a frame
of 3840×2160 in 10 bits that is 33 MB, and some 3 % of the processor time of a clip.
"""

from __future__ import annotations

import ctypes
from contextlib import suppress

# Parameters of glibc's mallopt(3).
_TRIM_THRESHOLD = -1
_MMAP_THRESHOLD = -3

BLOCK_BYTES = 32 << 20
"""Bytes up to which a block is kept, the most that older glibc takes: a plane of 3840×2160 in 10
bits has 17 MB."""

KEPT_BYTES = 1 << 29
"""Bytes of free memory that the process keeps: those of sixteen such frames in 4:2:2."""


def reuse_frame_memory() -> None:
    """Let this process keep the memory of frames that are done, where the C library is glibc.

    It holds for the rest of the process, so that only a command calls it.
    """
    with suppress(AttributeError, OSError, TypeError):  # another C library
        mallopt = ctypes.CDLL(None).mallopt
        mallopt(_MMAP_THRESHOLD, BLOCK_BYTES)
        mallopt(_TRIM_THRESHOLD, KEPT_BYTES)
