"""GPU time of the live bench's passes on a 1080p still: exposure, LUT, showing, scopes.

Needs moderngl and a GPU with EGL: `python tests/benchmarks/bench_shaders.py`, in a
checkout's top folder. The page's own shaders run unchanged, float32 textures as in the
page; a timer query of the driver takes 50 frames at a time.
"""

from __future__ import annotations

import random
from array import array
from dataclasses import dataclass
from math import ceil, cos, sin, sqrt
from pathlib import Path
from statistics import median
from typing import Any

import moderngl

SHADERS = Path("lutbench/bench/web/src/shaders")
WIDTH, HEIGHT = 1920, 1080
CURVE = 4097
ROW = 1024
FRAMES, ROUNDS = 50, 7

# As in scopes.ts: columns of a waveform, levels, points counted while something moves.
COLUMNS, LEVELS, POINTS_IN_MOTION = 640, 256, 200_000


@dataclass(frozen=True)
class Case:
    """What is looked through, and whether all four scopes follow."""

    nodes: int
    shaper: bool = False
    trilinear: bool = False
    difference: bool = False
    scopes: bool = False

    def __str__(self) -> str:
        words = {
            "shaper": self.shaper,
            "trilinear": self.trilinear,
            "difference of two LUTs": self.difference,
            "all scopes": self.scopes,
        }
        return ", ".join([f"{self.nodes} nodes", *(word for word, has in words.items() if has)])


CASES = (
    Case(17),
    Case(33),
    Case(65),
    Case(33, shaper=True),
    Case(33, trilinear=True),
    Case(65, trilinear=True),
    Case(33, difference=True),
    Case(33, scopes=True),
    Case(65, shaper=True, trilinear=True, difference=True, scopes=True),
)


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


class Scopes:
    """Waveform with parade, vectorscope and histogram, as while the slider moves."""

    # Number of the kind in count.vert.glsl, width, instances, scopes painted from it.
    KINDS = ((0, COLUMNS, 4, (0, 1)), (1, LEVELS, 1, (2,)), (0, 1, 4, (3,)))

    def __init__(self, context: Any, whole: str, lookup: str) -> None:
        self.context = context
        self.stride = ceil(sqrt(WIDTH * HEIGHT / POINTS_IN_MOTION))
        self.points = ceil(WIDTH / self.stride) * ceil(HEIGHT / self.stride)
        self.count = context.program(
            vertex_shader=(SHADERS / "count.vert.glsl").read_text(),
            fragment_shader=(SHADERS / "count.frag.glsl").read_text(),
        )
        text = "#version 300 es\n" + lookup + (SHADERS / "paint.frag.glsl").read_text()
        self.paint = context.program(vertex_shader=whole, fragment_shader=text)
        self.counting = context.vertex_array(self.count, [])
        self.painting = context.vertex_array(self.paint, [])
        self.counts = []
        self.areas = []
        for _, width, _, scopes in self.KINDS:
            texture = context.texture((width, LEVELS), 4, dtype="f4")
            self.counts.append((texture, context.framebuffer([texture])))
            for scope in scopes:
                size = (LEVELS if scope == 2 else COLUMNS, LEVELS)
                self.areas.append((scope, size, context.framebuffer([context.texture(size, 4)])))

    def frame(self) -> None:
        for (kind, width, instances, _), (_, into) in zip(self.KINDS, self.counts, strict=True):
            into.use()
            into.clear()
            step = 1 if kind else max(self.stride, ceil(WIDTH / width))
            columns = width if kind else ceil(WIDTH / step)
            told = {"picture": 5, "extent": (WIDTH, HEIGHT), "stride": self.stride, "kind": kind,
                    "step": step, "bins": (columns, LEVELS), "ends": (0, 1)}  # fmt: skip
            for key, value in told.items():
                self.count[key] = value
            self.context.enable(moderngl.BLEND)
            self.context.blend_func = moderngl.ONE, moderngl.ONE
            self.counting.render(moderngl.POINTS, vertices=self.points, instances=instances)
            self.context.disable(moderngl.BLEND)
        owners = [at for at, (*_, scopes) in enumerate(self.KINDS) for _ in scopes]
        for owner, (scope, size, into) in zip(owners, self.areas, strict=True):
            self.counts[owner][0].use(6)
            into.use()
            told = {"counts": 6, "bins": self.counts[owner][0].size, "area": size, "scope": scope,
                    "full": 100.0}  # fmt: skip
            for key, value in told.items():
                self.paint[key] = value
            self.painting.render(moderngl.TRIANGLES, vertices=3)


class Bench:
    """The passes on one context."""

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
        self.scopes = Scopes(context, vertex, lookup)

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

    def settings(self, case: Case) -> None:
        nodes = case.nodes
        self.case = case
        wanted = {
            "expose": {"picture": 0, "exposure": 1, "exposureSize": CURVE},
            "develop": {"picture": 4, "curve": 2, "curveSize": CURVE if case.shaper else 0,
                        "straight": case.trilinear, "ends": (0, 1),
                        "curveLow": (0, 0, 0), "curveScale": (CURVE - 1,) * 3, "nodes": 3,
                        "size": nodes, "low": (0, 0, 0), "scale": (nodes - 1,) * 3},
            "present": {"extent": (WIDTH, HEIGHT), "look": 3 if case.difference else 0,
                        "first": 5, "second": 5,
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
        expose, develop, present = self.passes
        for at, name in ((0, expose), (1, develop), (2, present)):
            self.targets[at].use()
            drawing = self.passes[name][1]
            drawing.render(moderngl.TRIANGLES, vertices=3)
            if name == develop and self.case.difference:
                # The second LUT costs what the first does; its own table changes nothing.
                drawing.render(moderngl.TRIANGLES, vertices=3)
        if self.case.scopes:
            self.scopes.frame()

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
        for case in CASES:
            still.use(0)
            table = bench.lattice(case.nodes)
            table.use(3)
            bench.settings(case)
            bench.milliseconds()
            kind = "smooth" if smooth else "random"
            print(f"{kind}, {case}: {bench.milliseconds():.2f} ms a frame")


if __name__ == "__main__":
    main()
