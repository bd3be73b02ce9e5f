"""``python -m lutbench``, and the command ``lutbench``."""

from __future__ import annotations

import os
import sys
from contextlib import suppress

INTERRUPTED = 130
"""128 and the number of SIGINT, as a shell tells it."""

LEAST_ADDRESS_SPACE = 256 << 20
"""Bytes. Where it cannot have a buffer OpenBLAS ends the process while numpy is loaded, with the
status of a check that fails, or of an interrupt: below some 120 MiB with one thread."""


def run() -> None:
    """The command line; an interrupt is one line and status 130 whenever it comes.

    It may come while modules are loaded, or while a thread starts that nobody would then
    wake: the process leaves at once, since `main` has put its files in order.
    """
    try:
        _open_standard_streams()
        _mind_address_space()
        try:
            from lutbench.cli.main import main
        except (ImportError, OSError, MemoryError) as error:
            why = str(error).partition("\n")[0] or "not enough memory"
            sys.stderr.write(f"lutbench: cannot be loaded: {why}\n")
            sys.exit(2)
        main()
    except KeyboardInterrupt:
        sys.stderr.write("lutbench: interrupted\n")
        _leave()
    except SystemExit as end:
        if end.code == INTERRUPTED:
            _leave()
        raise


def _open_standard_streams() -> None:
    """Have a standard stream that was closed before the start lead nowhere.

    Else the first file that is opened would take its number, and what is printed would go there.
    """
    for number, name in enumerate(("stdin", "stdout", "stderr")):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)  # takes the lowest number that is free: this one
        if getattr(sys, name) is None:
            mode = "w" if number else "r"
            setattr(sys, name, open(os.devnull, mode, encoding="utf-8"))  # noqa: SIM115


def _mind_address_space() -> None:
    """Where the address space has a limit: one thread of OpenBLAS, since each takes 32 MiB."""
    try:
        import resource
    except ImportError:  # not POSIX
        return
    limit = resource.getrlimit(resource.RLIMIT_AS)[0]
    if limit == resource.RLIM_INFINITY:
        return
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    if limit < LEAST_ADDRESS_SPACE:
        least = LEAST_ADDRESS_SPACE >> 20
        sys.stderr.write(
            f"lutbench: the address space is held to {limit >> 20} MiB (ulimit -v); "
            f"accepted: {least} MiB or more\n"
        )
        sys.exit(2)


def _leave() -> None:
    for stream in (sys.stdout, sys.stderr):
        with suppress(OSError, ValueError):
            stream.flush()
    os._exit(INTERRUPTED)


if __name__ == "__main__":
    run()
