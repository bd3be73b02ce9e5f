"""``python -m lutbench``, and the command ``lutbench``."""

from __future__ import annotations

import os
import sys
from contextlib import suppress

INTERRUPTED = 130
"""128 and the number of SIGINT, as a shell tells it."""


def run() -> None:
    """The command line; an interrupt is one line and status 130 whenever it comes.

    It may come while modules are loaded, or while a thread starts that nobody would then
    wake: the process leaves at once, since `main` has put its files in order.
    """
    try:
        from lutbench.cli.main import main

        main()
    except KeyboardInterrupt:
        sys.stderr.write("lutbench: interrupted\n")
        _leave()
    except SystemExit as end:
        if end.code == INTERRUPTED:
            _leave()
        raise


def _leave() -> None:
    for stream in (sys.stdout, sys.stderr):
        with suppress(OSError, ValueError):
            stream.flush()
    os._exit(INTERRUPTED)


if __name__ == "__main__":
    run()
