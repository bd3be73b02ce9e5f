"""``python -m lutbench``, and the command ``lutbench``."""

from __future__ import annotations

import os
import signal
import sys
import threading
from contextlib import suppress
from importlib.machinery import ExtensionFileLoader
from types import FrameType

INTERRUPTED = 130
"""Exit status after an interrupt: 128 plus the number of SIGINT, as shells report it."""

END_SECONDS = 0.8
"""Seconds that threads and libraries have after an interrupt to come to their end."""

RETRY_SECONDS = 0.05
"""Seconds until an interrupt that came at the wrong moment is tried again."""

LEAST_ADDRESS_BYTES = 256 << 20
"""Bytes. With less, below some 120 MiB with one thread, OpenBLAS gets no buffer while numpy loads
and ends the process with the exit status of a failed check or of an interrupt."""


def run() -> None:
    """Run the command line; an interrupt at any moment prints one line and exits with status 130.

    An interrupt can come while modules load, or while a thread starts, which a normal exit
    would then wait for without end. The process therefore ends at once; `main` has already
    removed unfinished files. It also ends, without them, where something still works after
    `END_SECONDS`, such as the threads that write the frames of a sequence.
    """
    try:
        if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
            signal.signal(signal.SIGINT, _interrupted)
            sys.unraisablehook = _dropped
        # A command's matrices are small. OpenBLAS's threads would wait for larger ones in a busy
        # loop, and each takes 32 MiB of address space.
        os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
        _open_standard_streams()
        _check_address_space()
        try:
            from lutbench.cli.main import main
        except (ImportError, OSError, MemoryError) as error:
            why = str(error).partition("\n")[0] or "not enough memory"
            sys.stderr.write(f"lutbench: cannot be loaded: {why}\n")
            sys.exit(2)
        main()
    except KeyboardInterrupt:
        _say_interrupted()
        _exit_at_once()
    except SystemExit as end:
        if end.code == INTERRUPTED:
            _exit_at_once()
        raise


def _open_standard_streams() -> None:
    """Open the null device for each standard stream that was closed before the start.

    Otherwise the first file opened would get its number, and printed text would go into it.
    """
    for number, name in enumerate(("stdin", "stdout", "stderr")):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)  # gets the lowest free number: this one
        if getattr(sys, name) is None:
            mode = "w" if number else "r"
            setattr(sys, name, open(os.devnull, mode, encoding="utf-8"))  # noqa: SIM115


def _check_address_space() -> None:
    """Refuse a limit of the address space within which libraries cannot be loaded."""
    try:
        import resource
    except ImportError:  # not POSIX
        return
    limit = resource.getrlimit(resource.RLIMIT_AS)[0]
    if limit != resource.RLIM_INFINITY and limit < LEAST_ADDRESS_BYTES:
        least = LEAST_ADDRESS_BYTES >> 20
        sys.stderr.write(
            f"lutbench: the address space is limited to {limit >> 20} MiB (ulimit -v); "
            f"accepted: {least} MiB or more\n"
        )
        sys.exit(2)


def _interrupted(_: int, frame: FrameType | None) -> None:
    """Raise the usual exception, and end the process where that has not done so in time.

    Not while a library of compiled code starts, since some end the process when they meet the
    exception: then a moment later.
    """
    late = threading.Timer(END_SECONDS, _end_anyway)
    late.daemon = True
    with suppress(RuntimeError):  # no more threads can be started
        late.start()
        if _must_wait(frame):
            _try_again()
            return
    raise KeyboardInterrupt


def _must_wait(frame: FrameType | None) -> bool:
    while frame is not None:
        if frame.f_code.co_name in ("create_module", "exec_module") and isinstance(
            frame.f_locals.get("self"), ExtensionFileLoader
        ):
            return True
        frame = frame.f_back
    return False


def _dropped(fault: sys.UnraisableHookArgs) -> None:
    """Try an interrupt again that Python drops, as out of ``__del__`` or a callback of weakref."""
    if not issubclass(fault.exc_type, KeyboardInterrupt):
        sys.__unraisablehook__(fault)
        return
    with suppress(RuntimeError):
        _try_again()


def _try_again() -> None:
    again = threading.Timer(RETRY_SECONDS, signal.raise_signal, (signal.SIGINT,))
    again.daemon = True
    again.start()


def _end_anyway() -> None:
    from multiprocessing import active_children

    from lutbench.files import remove_unfinished

    for child in active_children():
        child.kill()
    remove_unfinished()
    _say_interrupted()
    _exit_at_once()


def _say_interrupted() -> None:
    """Print the line, unless `main` has done so."""
    main = sys.modules.get("lutbench.cli.main")
    if not getattr(main, "is_interruption_reported", False):  # it may be half loaded
        sys.stderr.write("lutbench: interrupted\n")


def _exit_at_once() -> None:
    # The semaphores of worker processes, which Python's tracker would report on standard error.
    if util := sys.modules.get("multiprocessing.util"):
        with suppress(Exception):
            util._run_finalizers(0)
    for stream in (sys.stdout, sys.stderr):
        with suppress(OSError, ValueError):
            stream.flush()
    os._exit(INTERRUPTED)


if __name__ == "__main__":
    run()
