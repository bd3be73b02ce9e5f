"""What a 33-node LUT of every tone and gamut mapping costs in process: the table of
docs/performance.md. Processor time, the median of several, after the first.

`PYTHONPATH=. python tests/benchmarks/measure_conversions.py`
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from typing import Any

import colour
import numpy as np

import lutbench
from lutbench.model.tone import tone_names
from lutbench.recipes.settings import GAMUT_METHODS

ROUNDS = 7
CARRIERS = (" on=largest blend=1", " on=luminance", " on=intensity")
SCENE = ("clip", "sigmoid", "shoulder", *(f"shoulder{on}" for on in CARRIERS))
DISPLAY = ("eetf", *(f"eetf{on}" for on in CARRIERS), "bt2446-a", "bt2446-c", "gamma-adjust")


def milliseconds(build: Callable[[], Any]) -> float:
    """Processor time of a call, the median of several."""
    build()
    found = []
    for _ in range(ROUNDS):
        start = time.process_time()
        build()
        found.append(1000 * (time.process_time() - start))
    return statistics.median(found)


def peer() -> Any:
    """A plain conversion by colour-science, in the same run."""
    light = colour.log_decoding(colour.LUT3D.linear_table(33), function="ACEScct")
    linear = colour.RGB_to_RGB(light, "ITU-R BT.2020", "ITU-R BT.709")
    return np.clip(colour.models.eotf_inverse_BT1886(np.maximum(linear, 0)), 0, 1)


def row(label: str, ends: tuple[str, str], tone: str, **more: Any) -> float:
    """Print what each way of gamut costs; the most."""
    gamuts = {"source_gamut": "BT.2020", "target_gamut": "BT.709"}
    cells = [
        milliseconds(lambda way=way: lutbench.build(*ends, **gamuts, tone=tone, gamut=way, **more))
        for way in GAMUT_METHODS
    ]
    print(f"| {label} | {tone} | " + " | ".join(f"{each:.0f}" for each in cells), "|")
    return max(cells)


def main() -> None:
    """Print a row for each tone, and the peer."""
    print(f"| conversion | tone | {' | '.join(GAMUT_METHODS)} |")
    print("|---|---|" + "---:|" * len(GAMUT_METHODS))
    peaks = {"source_display_peak": 1000.0, "target_display_peak": 100.0}
    most = [row("ACEScct to BT.1886", ("ACEScct", "BT.1886"), tone) for tone in SCENE]
    most += [row("ST 2084 to BT.1886", ("ST 2084", "BT.1886"), tone, **peaks) for tone in DISPLAY]
    most.append(row("BT.1886 to ST 2084", ("BT.1886", "ST 2084"), "bt2446-a-up"))
    for source, target, key in (
        ("ST 2084", "BT.2100 HLG", "target_display_peak"),
        ("BT.2100 HLG", "ST 2084", "source_display_peak"),
        ("BT.1886", "BT.2100 HLG", "target_display_peak"),
        ("BT.709", "BT.2100 PQ", ""),
    ):
        more = {key: 1000.0} if key else {}
        most.append(row(f"{source} to {target}", (source, target), "clip", **more))
    assert {each.split()[0] for each in (*SCENE, *DISPLAY, "bt2446-a-up")} == set(tone_names())
    print(f"\nthe most: {max(most):.0f} ms; colour-science, a plain conversion: ", end="")
    print(f"{milliseconds(peer):.0f} ms")


if __name__ == "__main__":
    main()
