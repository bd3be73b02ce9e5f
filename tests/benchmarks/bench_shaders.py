"""GPU time of the live bench's passes on a 1080p still: exposure, LUT, showing.

Needs moderngl and a GPU with EGL: `python tests/benchmarks/bench_shaders.py`, in a
checkout's top folder. The page's own shaders run unchanged, float32 textures as in the
page; a timer query of the driver takes 50 frames at a time.
"""

from __future__ import annotations

import random
from array import array
from math import cos, sin
from pathlib import Path
from statistics import median
from typing import Any

import moderngl

SHADERS = Path("lutbench/bench/web/src/shaders")
WIDTH, HEIGHT = 1920, 1080
CURVE = 4097
ROW = 1024
FRAMES, ROUNDS = 50, 7


def picture(smooth: bool) -> bytes:
    """R G B A floats: waves with a little noise, as a photograph has, or random colours."""
    random.seed(1)
    values = array("f")
    for y in range(HEIGHT):
        for x in range(WIDTH):
            if smooth:
                v = 0.3 + 0.25 * sin(x / 97) * cos(y / 61) + 0.01 * random.random()
                values.extend((v, 0.9 * v + 0.03, 0.8 * v + 0.05, 1.0))
            else:
                values.extend((random.random(), random.random(), random.random(), 1.0))
    return values.tobytes()


class Bench:
    """The three passes on one context."""

    def __init__(self, context: Any) -> None:
        self.context = context
        lookup = (SHADERS / "lookup.glsl").read_text()
        vertex = (SHADERS / "whole.vert.glsl").read_text()
        self.passes = {}
        for name in ("expose", "develop", "present"):
            text = "#version 300 es\n" + lookup + (SHADERS / f"{name}.frag.glsl").read_text()
            program = context.program(vertex_shader=vertex, fragment_shader=text)
            self.passes[name] = (program, context.vertex_array(program, []))
        lines = -(-CURVE // ROW)
        pairs = array("f")
        for at in range(ROW * lines):
            pairs.extend((min(at / (CURVE - 1), 1.0), min((at + 1) / (CURVE - 1), 1.0)))
        self.floats((ROW, lines), 2, pairs.tobytes()).use(1)
        self.floats((ROW, 3 * lines), 2, pairs.tobytes() * 3).use(2)
        self.targets = []
        for unit in (4, 5):
            texture = context.texture((WIDTH, HEIGHT), 4, dtype="f4")
            texture.use(unit)
            self.targets.append(context.framebuffer([texture]))
        self.targets.append(context.framebuffer([context.texture((WIDTH, HEIGHT), 4)]))

    def floats(self, size: tuple[int, int], channels: int, data: bytes) -> Any:
        texture = self.context.texture(size, channels, data, dtype="f4")
        texture.filter = (moderngl.NEAREST, moderngl.NEAREST)
        return texture

    def lattice(self, nodes: int) -> Any:
        axis = [at / (nodes - 1) for at in range(nodes)]
        values = array("f", [v for r in axis for g in axis for b in axis for v in (r, g, b, 1.0)])
        texture = self.context.texture3d((nodes,) * 3, 4, values.tobytes(), dtype="f4")
        texture.filter = (moderngl.NEAREST, moderngl.NEAREST)
        return texture

    def settings(self, nodes: int, shaper: bool) -> None:
        wanted = {
            "expose": {"picture": 0, "exposure": 1, "exposureSize": CURVE},
            "develop": {"picture": 4, "curve": 2, "curveSize": CURVE if shaper else 0,
                        "curveLow": (0, 0, 0), "curveScale": (CURVE - 1,) * 3, "nodes": 3,
                        "size": nodes, "low": (0, 0, 0), "scale": (nodes - 1,) * 3},
            "present": {"extent": (WIDTH, HEIGHT), "look": 0, "first": 5, "second": 5,
                        "exposed": 4, "firstEnds": (0, 1), "secondEnds": (0, 1),
                        "sourceEnds": (0, 1), "firstView": 3, "secondView": 3,
                        "viewSizes": (0, 0), "zebra": 0, "bandCount": 0, "light": 1, "grey": 1,
                        "stripe": 16.0, "gain": 1.0},
        }  # fmt: skip
        for name, values in wanted.items():
            program = self.passes[name][0]
            for key, value in values.items():
                if key in program:
                    program[key] = value

    def frame(self) -> None:
        for target, (_, drawing) in zip(self.targets, self.passes.values(), strict=True):
            target.use()
            drawing.render(moderngl.TRIANGLES, vertices=3)

    def milliseconds(self) -> float:
        """The median of several rounds, for a frame."""
        rounds = []
        for _ in range(ROUNDS):
            query = self.context.query(time=True)
            with query:
                for _ in range(FRAMES):
                    self.frame()
            rounds.append(query.elapsed / FRAMES / 1e6)
        return median(rounds)


def main() -> None:
    context = moderngl.create_context(standalone=True, backend="egl", require=430)
    print(context.info["GL_RENDERER"])
    bench = Bench(context)
    for smooth in (True, False):
        still = bench.floats((WIDTH, HEIGHT), 4, picture(smooth))
        for nodes, shaper in ((17, False), (33, False), (65, False), (33, True)):
            still.use(0)
            table = bench.lattice(nodes)
            table.use(3)
            bench.settings(nodes, shaper)
            bench.milliseconds()
            told = f"{'smooth' if smooth else 'random'}, {nodes} nodes{', shaper' * shaper}"
            print(f"{told}: {bench.milliseconds():.2f} ms a frame")


if __name__ == "__main__":
    main()
