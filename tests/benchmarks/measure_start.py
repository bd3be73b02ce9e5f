"""What commands take as whole processes, beside ``python -c "import colour"`` in the same run.

    python tests/benchmarks/measure_start.py

Processor time of the process, the least of several rounds, in each of which every command
runs once: a machine with other work does not change what is compared.
"""

from __future__ import annotations

import argparse
import resource
import subprocess
import sys
import tempfile
from pathlib import Path

import lutbench as lb


def busy(line: list[str]) -> float:
    """Processor seconds of a process."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(line, stdout=subprocess.DEVNULL, check=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def registered() -> str:
    """A log encoding of the registry."""
    entries = lb.curves().values()
    return next(each.name for each in entries if each.origin == "registry" and not each.unusable)


def main() -> None:
    """Print a line for each command."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rounds", type=int, default=7)
    rounds = parser.parse_args().rounds
    with tempfile.TemporaryDirectory() as folder:
        path = str(Path(folder) / "day.cube")
        lb.build("ACEScct, ACEScg to BT.1886, BT.709", size=33).save(path)
        curve = registered()
        lines = {
            "import colour": ["-c", "import colour"],
            "list curves": ["-m", "lutbench", "list", "curves"],
            "levels, a standard curve": ["-m", "lutbench", "levels", "--curve", "ACEScct"],
            "levels, a registered curve": ["-m", "lutbench", "levels", "--curve", curve],
            "inspect --json": ["-m", "lutbench", "inspect", path, "--json"],
            "inspect --json, registered curve": [
                *("-m", "lutbench", "inspect", path, "--json", "--source-curve", curve),
            ],
            "identify": ["-m", "lutbench", "identify", path],
        }
        least = dict.fromkeys(lines, float("inf"))
        for _ in range(rounds):
            for name, line in lines.items():
                least[name] = min(least[name], busy([sys.executable, *line]))
    for name, seconds in least.items():
        print(f"{name:34} {seconds:.2f} s  {seconds / least['import colour']:.2f}")


if __name__ == "__main__":
    main()
