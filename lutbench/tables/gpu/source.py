"""The CUDA source of one kernel: a chain of steps over pixels in one pass.

A thread processes a *group* of pixels: as many as make three loads of 8 bytes, whether the
channels are interleaved or planar. Remaining pixels, and those with other strides, are
processed one at a time. Streaming loads and stores leave the cache to the tables. The
steps are in `steps.cu`, which is the same for all kernels; this module writes how pixels
are loaded and stored, and which steps are applied.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from lutbench.tables.programs import CLAMP, CURVE, MATRIX, POWER, TABLES, TRILINEAR

# How a place in a table is found, see `prepare`; in pairs of nodes it is found quickly.
FOUND, QUICK, PAIRED = range(3)
GROUP_BYTES = 8  # of each of a thread's three loads: 16 leave too few threads at work
THREADS = 128  # in a block: with 256 the last blocks leave more of the device idle
# Blocks that must fit on a multiprocessor at once where a thread has two pixels: all of its
# 2048 threads, which leaves each 32 registers. With more pixels that is too few registers.
BLOCKS = 16

ELEMENTS = {
    "uint8": "unsigned char",
    "uint16": "unsigned short",
    "float16": "unsigned short",
    "float32": "float",
    "float64": "double",
}
SIZES = {"uint8": 1, "uint16": 2, "float16": 2, "float32": 4, "float64": 8}  # bytes
WORDS = {8: "uint2", 4: "unsigned int", 2: "unsigned short", 1: "unsigned char"}  # by bytes
FINDERS = ("found", "quick")


@dataclass(frozen=True)
class Shape:
    """What a kernel is written for.

    `steps` has the operation of each step, and how it finds a place in its table. A layout
    is ``"packed"`` (R G B together), ``"planar"`` or ``"strided"``.
    """

    steps: tuple[tuple[int, int], ...]
    number: str  # computed in: float32 or float64
    source: str
    target: str
    source_layout: str
    target_layout: str

    @property
    def bounds(self) -> str:
        """The launch bounds: threads in a block, and blocks that should fit at once."""
        full = self.pixels == 2 and self.number == "float32"
        return f"{THREADS}, {BLOCKS}" if full else f"{THREADS}"

    @property
    def pixels(self) -> int:
        """Pixels that a thread processes."""
        if "strided" in (self.source_layout, self.target_layout):
            return 1
        return GROUP_BYTES // max(SIZES[self.source], SIZES[self.target])


@cache
def write(shape: Shape) -> str:
    """The CUDA source of the kernel ``run`` for one shape."""
    tables = [k for k, (op, _) in enumerate(shape.steps) if op in TABLES]
    arguments = "".join(f", const void* __restrict__ table{k}" for k in tables)
    names = "".join(f", table{k}" for k in tables)
    steps = "\n".join(_steps(shape))
    return f"""
#define STEPS {max(1, len(shape.steps))}
#define SINGLE {int(shape.number == "float32")}
{files(__package__).joinpath("steps.cu").read_text(encoding="utf-8")}
typedef {ELEMENTS[shape.source]} From;
typedef {ELEMENTS[shape.target]} To;
{_reader(shape.source)}
{_writer(shape.target)}
__device__ __forceinline__ void pixel(Num* p, const Params& k{arguments}) {{
{steps}
}}
extern "C" __global__ void __launch_bounds__({shape.bounds}) run(
    const char* src, char* dst, long long count, long long src_step, long long src_channel,
    long long dst_step, long long dst_channel, Num peak, Num half, Params k{arguments}) {{
  long long t = (long long)blockIdx.x * {THREADS} + threadIdx.x;
{"" if shape.pixels == 1 else _group(shape, names)}
  long long begin = t * {shape.pixels};
  for (long long i = begin; i < begin + {shape.pixels} && i < count; ++i) {{
    Num p[3];
    for (int c = 0; c < 3; ++c) p[c] = get(*(const From*)(src + i * src_step + c * src_channel));
    pixel(p, k{names});
    for (int c = 0; c < 3; ++c)
      *(To*)(dst + i * dst_step + c * dst_channel) = put(p[c], peak, half);
  }}
}}
"""


def _steps(shape: Shape) -> Iterator[str]:
    """A call for each step; after codes, tables and clamps, values are known to be finite."""
    plain = {MATRIX: "matrix", CLAMP: "clamp", POWER: "power"}
    finite = shape.source.startswith("uint")
    for k, (op, how) in enumerate(shape.steps):
        if op in plain:
            yield f"  {plain[op]}(p, k.c[{k}]);"
            finite = finite and op == CLAMP
            continue
        if how == PAIRED:
            flag = str(finite).lower()
            yield f"  paired<{flag}>(p, k.c[{k}], k.size[{k}], (const uint4*)table{k});"
            continue
        finder = FINDERS[how]
        if op == CURVE:
            yield f"  curve<{finder}>(p, k.c[{k}], k.size[{k}], (const Pair*)table{k});"
            continue
        weigh = "trilinear" if op == TRILINEAR else "tetrahedral"
        kind = f"{weigh}<{finder}, {str(finite).lower()}>"
        yield f"  {kind}(p, k.c[{k}], k.size[{k}], (const Node*)table{k});"


def _reader(dtype: str) -> str:
    """The function that reads one element of a type."""
    body = "return (Num)e;"
    if dtype.startswith("uint"):
        body = "return from_code(e);"
    elif dtype == "float16":
        body = 'float x; asm("cvt.f32.f16 %0, %1;" : "=f"(x) : "h"(e)); return (Num)x;'
    return f"__device__ __forceinline__ Num get(From e) {{ {body} }}"


def _writer(dtype: str) -> str:
    """The function that writes one element of a type."""
    body = "return (To)x;"
    if dtype.startswith("uint"):
        body = "return (To)to_code(x, peak, half);"
    elif dtype == "float16":
        body = (
            "unsigned short e; float y = (float)x; "
            'asm("cvt.rn.f16.f32 %0, %1;" : "=h"(e) : "f"(y)); return e;'
        )
    return f"__device__ __forceinline__ To put(Num x, Num peak, Num half) {{ {body} }}"


def _group(shape: Shape, names: str) -> str:
    """The code for a whole group: three loads, its pixels, three stores."""
    pixels = shape.pixels
    read, written = pixels * SIZES[shape.source], pixels * SIZES[shape.target]

    def places(layout: str, width: int, channel: str) -> tuple[str, str, str]:
        """Bytes from group to group, bytes from load to load, and the index of an element."""
        if layout == "packed":
            return str(3 * width), str(width), "3 * i + c"
        return str(width), channel, f"c * {pixels} + i"

    got = "get(in.e[{}])"
    if shape.number == "float32" and shape.source in ("uint8", "uint16") and read == 8:
        got = f"code_of_{SIZES[shape.source]}(in.w, {{}})"
    group, load, at = places(shape.source_layout, read, "src_channel")
    group_out, store, at_out = places(shape.target_layout, written, "dst_channel")
    return f"""  if (t < count / {pixels}) {{
    union {{ {WORDS[read]} words[3]; unsigned int w[6]; From e[{3 * pixels}]; }} in;
    union {{ {WORDS[written]} words[3]; To e[{3 * pixels}]; }} out;
    #pragma unroll
    for (int c = 0; c < 3; ++c)
      in.words[c] = __ldcs((const {WORDS[read]}*)(src + t * {group} + c * {load}));
    #pragma unroll
    for (int i = 0; i < {pixels}; ++i) {{
      Num p[3];
      #pragma unroll
      for (int c = 0; c < 3; ++c) p[c] = {got.format(at)};
      pixel(p, k{names});
      #pragma unroll
      for (int c = 0; c < 3; ++c) out.e[{at_out}] = put(p[c], peak, half);
    }}
    #pragma unroll
    for (int c = 0; c < 3; ++c)
      __stcs(({WORDS[written]}*)(dst + t * {group_out} + c * {store}), out.words[c]);
    return;
  }}"""
