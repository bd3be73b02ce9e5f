"""The fuzzer led by coverage: ``python tests/fuzz/guided.py cube --seconds 120``.

Optional: it needs atheris (``pip install atheris``), which the tests do not. Where
``python tests/fuzz`` damages whole files as hypothesis draws it, this keeps every
file that reaches code no file before it reached, and goes on from there.

Prints what was seen, writes every kind of fault as a file into ``--faults``, and
exits with status 1 where there was one. Files that reached something new stay in
``--corpus``, so that the next run starts from them.
"""

from __future__ import annotations

import argparse
import json
import re
import subprocess
import sys
import tempfile
import warnings
from pathlib import Path
from typing import Any

KINDS = (
    *("cube", "clf", "cdl", "cc", "ccc", "definitions", "curve table", "recipe", "suite"),
    *("baseline table", "baseline LUT", "png", "jpeg", "tiff", "openexr", "dpx", "clip"),
)
_LONGEST = 8192  # bytes of a file; what matters of the seeds stands in fewer

# Their functions are compiled from their byte code, which must be as it was written.
_COMPILED = ["kernels", "kernels_llvm", "kernels_steps", "interpolation", "plain"]
COMPILED = [*(f"lutbench.tables.{name}" for name in _COMPILED), "lutbench.media.clip.ycbcr"]


def main() -> int:
    """Fuzz in a process of its own, which libFuzzer ends as it likes; report what is left of it."""
    parser = argparse.ArgumentParser(prog="python tests/fuzz/guided.py", description=__doc__)
    parser.add_argument("kind", choices=KINDS)
    parser.add_argument("--seconds", type=int, default=120)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--corpus", type=Path, help="kept between runs; default: thrown away")
    parser.add_argument("--faults", type=Path, default=Path("fuzz-faults"))
    parser.add_argument("--inside", type=Path, help=argparse.SUPPRESS)
    split = sys.argv.index("--") if "--" in sys.argv else len(sys.argv)
    wanted = parser.parse_args(sys.argv[1:split])
    try:
        import atheris
    except ImportError:
        print("atheris is not installed: pip install atheris", file=sys.stderr)
        return 2
    if wanted.inside:
        fuzz(atheris, wanted.kind, wanted.inside, sys.argv[split + 1 :])
        return 0
    with tempfile.TemporaryDirectory(prefix="lutbench-guided-") as name:
        inside = Path(name)
        corpus = (wanted.corpus or inside / "corpus").resolve()
        for folder in (corpus, wanted.faults, inside / "seeds"):
            folder.mkdir(parents=True, exist_ok=True)
        done = subprocess.run(
            [
                *(sys.executable, __file__, wanted.kind, "--inside", str(inside), "--"),
                *(f"-max_total_time={wanted.seconds}", f"-seed={wanted.seed}"),
                *(f"-max_len={_LONGEST}", f"-dict={inside / 'words.dict'}", "-timeout=60"),
                # The limit on memory is the worker's own; libFuzzer's would end the run.
                *("-rss_limit_mb=0", f"-artifact_prefix={wanted.faults.resolve()}/"),
                *("-print_final_stats=1", str(corpus), str(inside / "seeds")),
            ],
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            errors="replace",
            check=False,
        )
        return report(wanted, inside, done)


def report(wanted: Any, inside: Path, done: subprocess.CompletedProcess[str]) -> int:
    """What was seen, in a few lines."""
    tally = inside / "tally.json"
    reached = re.findall(r"cov: (\d+) ft: \d+ corp: (\d+)", done.stdout)
    if not tally.exists() or not reached:
        print(done.stdout[-4000:], file=sys.stderr)
        print("the fuzzer did not start", file=sys.stderr)
        return 2
    seen = json.loads(tally.read_text("utf-8"))
    # The first corpus is the whole files: what they reach stands before the arrow.
    print(
        f"{wanted.kind}: {seen['cases']} cases in {wanted.seconds} s: {seen['read']} read, "
        f"{seen['refused']} refused, {seen['fault']} faults; worst {seen['seconds']:.3f} s, "
        f"{seen['memory'] >> 20} MiB"
    )
    print(f"branches reached {reached[0][0]} -> {reached[-1][0]}, files kept {reached[-1][1]}")
    for number, (place, (data, reason)) in enumerate(seen["places"].items()):
        path = wanted.faults / f"guided_{wanted.kind.replace(' ', '_')}_{number:03d}"
        path.write_bytes(bytes.fromhex(data))
        path.with_suffix(".txt").write_text(f"{place}\n\n{reason}\n", "utf-8")
        print(f"{path}: {place}")
    if done.returncode:
        print(done.stdout[-4000:], file=sys.stderr)
        print(f"the process ended with status {done.returncode}", file=sys.stderr)
    return 1 if seen["places"] or done.returncode else 0


def fuzz(atheris: Any, kind: str, inside: Path, settings: list[str]) -> None:
    """Run libFuzzer; does not return."""
    with atheris.instrument_imports(include=["lutbench", "tomllib"], exclude=COMPILED):
        import seeds
        from targets import TARGETS

        import lutbench.checks.runner
        import lutbench.media.clip.clip
        import lutbench.media.still.still
        import lutbench.recipes.make  # noqa: F401
    from harness import judged
    from worker import attempt, limit_memory

    assert tuple(TARGETS) == KINDS
    folder = inside / "files"
    folder.mkdir()
    seeds.neighbours(folder)
    whole = seeds.seeds()[kind]
    words: set[bytes] = set()
    for number, data in enumerate(whole):
        (inside / "seeds" / str(number)).write_bytes(data)
        words |= set(re.findall(rb"[A-Za-z_][A-Za-z0-9_.-]{2,40}", data[:_LONGEST]))
    (inside / "words.dict").write_text(
        "".join(f'"{word.decode()}"\n' for word in sorted(words)), "utf-8"
    )
    path = folder / f"in{TARGETS[kind][0]}"
    for data in whole:  # imports and compiles what will be needed
        path.write_bytes(data)
        result = attempt(kind, path)
        assert result["outcome"] == "read", result["reason"]
    warnings.simplefilter("error")
    limit_memory()
    seen: dict[str, Any] = {"cases": 0, "read": 0, "refused": 0, "fault": 0}
    seen |= {"seconds": 0.0, "memory": 0, "places": {}}

    def one(data: bytes) -> None:
        path.write_bytes(data)
        result = judged(attempt(kind, path))
        outcome, place, places = result["outcome"], result["place"], seen["places"]
        seen["cases"] += 1
        seen[outcome] += 1
        for name in ("seconds", "memory"):
            seen[name] = max(seen[name], result[name])
        if outcome == "fault" and (
            place not in places or len(data) < len(bytes.fromhex(places[place][0]))
        ):
            places[place] = (data.hex(), result["reason"])
        if seen["cases"] % 50 == 0 or outcome == "fault":
            (inside / "tally.json").write_text(json.dumps(seen), "utf-8")

    atheris.Setup([sys.argv[0], *settings], one)
    atheris.Fuzz()


if __name__ == "__main__":
    raise SystemExit(main())
