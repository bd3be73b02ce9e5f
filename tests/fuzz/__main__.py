"""The fuzzer at length: ``python tests/fuzz --cases 20000``.

Prints what was seen of each kind of file, writes every kind of fault as a file
into ``--faults``, and exits with status 1 where there was one. With ``--figures``
files that are hostile in their numbers go through whole commands instead.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from pathlib import Path

from figures_harness import Record
from harness import Harness
from hypothesis import HealthCheck, Phase, given, seed, settings
from mutations import cases
from targets import TARGETS


def main() -> int:
    """Run the cases, evenly over the kinds."""
    parser = argparse.ArgumentParser(prog="python tests/fuzz", description=__doc__)
    parser.add_argument("--cases", type=int, default=20_000)
    parser.add_argument("--kinds", nargs="*", choices=[*TARGETS], default=[*TARGETS])
    parser.add_argument("--seed", type=int, default=int(time.time()))
    parser.add_argument("--faults", type=Path, default=Path("fuzz-faults"))
    parser.add_argument("--figures", action="store_true")
    parser.add_argument("--first", type=int, default=0, help="the first case of --figures")
    parser.add_argument("--nodes", type=int, help="of every 3D LUT of --figures")
    wanted = parser.parse_args()
    print(f"seed {wanted.seed}")
    if wanted.figures:
        return figures(wanted)
    began = time.monotonic()
    each_kind = -(-wanted.cases // len(wanted.kinds))
    with Harness() as harness:
        for kind in wanted.kinds:
            run(harness, kind, each_kind, wanted.seed)
            show(harness, kind)
    total = sum(tally.cases for tally in harness.tallies.values())
    print(
        f"{total} cases in {time.monotonic() - began:.0f} s, {len(harness.faults)} kinds of fault"
    )
    for number, ((kind, place), (data, reason)) in enumerate(harness.faults.items()):
        wanted.faults.mkdir(exist_ok=True)
        path = wanted.faults / f"{number:03d}_{kind.replace(' ', '_')}{TARGETS[kind][0]}"
        path.write_bytes(data)
        path.with_suffix(".txt").write_text(f"{place}\n\n{reason}\n")
        print(f"{path}: {place}")
    return 1 if harness.faults else 0


def figures(wanted: argparse.Namespace) -> int:
    """Commands on files that are hostile in their numbers."""
    seed, first, count, faults = wanted.seed, wanted.first, wanted.cases, wanted.faults
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        record = Record(seed, Path(folder), wanted.nodes)
        for number in range(first, first + count):
            record.attempt(number)
    endings = ", ".join(f"{what} {many}" for what, many in sorted(record.endings.items()))
    print(f"{count} commands in {time.monotonic() - began:.0f} s: {endings}")
    print("\n".join(record.table()))
    for at, (fault, found) in enumerate(record.faults.items()):
        number, ending = found[0]
        faults.mkdir(exist_ok=True)
        text = f"case {number} of seed {seed}\n{ending.call}\n\n{ending.reason}\n"
        (faults / f"{at:03d}.txt").write_text(text, encoding="utf-8")
        print(f"{len(found)} × {fault}: cases {', '.join(str(case) for case, _ in found[:5])}")
    return 1 if record.faults else 0


def run(harness: Harness, kind: str, count: int, start: int) -> None:
    """`count` files of a kind; faults are counted and do not end the run."""

    @seed(start)
    @settings(
        max_examples=count,
        deadline=None,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(cases(kind))
    def attempt(data: bytes) -> None:
        harness.attempt(kind, data)

    attempt()


def show(harness: Harness, kind: str) -> None:
    """A line of figures."""
    tally = harness.tallies[kind]
    counts = tally.outcomes
    print(
        f"{kind:15} {tally.cases:6} cases: {counts['read']:6} read, {counts['refused']:6} refused, "
        f"{counts['fault']:4} faults; worst {tally.seconds:6.3f} s, {tally.memory >> 20:4} MiB",
        flush=True,
    )


if __name__ == "__main__":
    raise SystemExit(main())
