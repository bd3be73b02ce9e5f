"""How the house is measured, and what is let pass, each with its reason: lists that only shrink."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import lutbench

PACKAGE = Path(lutbench.__file__).parent

MOST_LINES_OF_A_FILE = 400
MOST_LINES_OF_A_FUNCTION = 45
"""Without its docstring: a text that says shapes, units and errors is no burden."""

MOST_ARGUMENTS = 6

COMPILED = "compiled: numba and LLVM take numbers and arrays, no settings objects"
PUBLIC = "public: each keyword is documented, and a caller names those that it needs"

LONG_FILES: dict[str, str] = {}

LONG_FUNCTIONS = {
    "media/clip/ycbcr_loops.py: _decode_lines": COMPILED,
    "report/identification.py: _figures": "one figure after the other, a few lines each",
    "tables/kernels.py: _run": COMPILED,
}

MANY_ARGUMENTS = {
    "exposure/levels.py: levels": PUBLIC,
    "face/exposing.py: levels": PUBLIC,
    "face/reworking.py: change_range": PUBLIC,
    "face/reworking.py: invert": PUBLIC,
    "face/telling.py: compare": PUBLIC,
    "face/telling.py: identify": PUBLIC,
    "face/telling.py: inspect": PUBLIC,
    "identification/search.py: identify": PUBLIC,
    "inspection/inspection.py: inspect": PUBLIC,
    "measure/comparison.py: compare": PUBLIC,
    "media/clip/ycbcr_loops.py: _decode_lines": COMPILED,
    "media/clip/ycbcr_loops.py: _encode_chroma": COMPILED,
    "media/clip/ycbcr_loops.py: _encode_luma": COMPILED,
    "tables/kernels.py: _lattice": COMPILED,
    "tables/kernels.py: _run": COMPILED,
    "tables/kernels.py: _store": COMPILED,
    "tables/kernels_llvm.py: weigh_4": COMPILED,
    "tables/kernels_llvm.py: weigh_8": COMPILED,
    "tables/pixels.py: apply_pixels": PUBLIC,
    "testing.py: assert_baseline": PUBLIC,
    "testing.py: assert_lut_close": PUBLIC,
    "testing.py: assert_matches_reference": PUBLIC,
}

SAME_NAMES: dict[str, str] = {}
"""Class names of several places: an idea has one home, and its own name."""

Function = ast.FunctionDef | ast.AsyncFunctionDef


@cache
def files() -> list[Path]:
    """Every file of the package, without what npm has put beside the bench's script."""
    return sorted(file for file in PACKAGE.rglob("*.py") if "node_modules" not in file.parts)


@cache
def modules() -> list[tuple[str, ast.Module]]:
    """Every file of the package, by its path within it, parsed."""
    return [
        (file.relative_to(PACKAGE).as_posix(), ast.parse(file.read_text(encoding="utf-8")))
        for file in files()
    ]


def functions() -> Iterator[tuple[str, Function]]:
    """Every function, by its file and its name with that of its class."""

    def within(node: ast.AST, before: str) -> Iterator[tuple[str, Function]]:
        for each in ast.iter_child_nodes(node):
            if isinstance(each, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
                if not isinstance(each, ast.ClassDef):
                    yield before + each.name, each
                yield from within(each, f"{before}{each.name}.")
            else:
                yield from within(each, before)

    for path, tree in modules():
        for name, function in within(tree, ""):
            yield f"{path}: {name}", function


def class_places() -> dict[str, list[str]]:
    """The files that define a class of each name.

    `schemas/` does not count: what it describes are the reports of classes of the same names.
    """
    places: dict[str, list[str]] = {}
    for path, tree in modules():
        for node in ast.walk(tree):
            if isinstance(node, ast.ClassDef) and not path.startswith("schemas/"):
                places.setdefault(node.name, []).append(path)
    return places


def constants_without_a_reason(path: str, tree: ast.Module) -> list[str]:
    """The numbers of a module that no comment and no docstring explains.

    A comment above a run of lines speaks for all of it, as for the constants of a formula.
    """
    lines = (PACKAGE / path).read_text(encoding="utf-8").splitlines()
    found, before = [], None
    for node, after in zip(tree.body, [*tree.body[1:], None], strict=True):
        if not isinstance(node, ast.Assign | ast.AnnAssign) or node.value is None:
            continue
        name = ast.unparse(node.targets[0] if isinstance(node, ast.Assign) else node.target)
        is_said = isinstance(after, ast.Expr) and isinstance(after.value, ast.Constant)
        is_said |= any("#" in line for line in lines[node.lineno - 2 : node.end_lineno])
        is_said |= before == node.lineno - 1
        if is_said:
            before = node.end_lineno
        elif _is_numeric(node.value) and not name.endswith("SCHEMA"):
            found.append(f"{path}: {name}")
    return found


UNITS = {
    r"(?:8-bit |10-bit )?[Cc]odes?": "CODES?",
    "cd/m²": "CD_M2",
    "ΔE": "DELTA_E",
    "Signals?": "SIGNAL",
    "Light": "LIGHT",
    "Shares?": "SHARE",
    "Stops?": "STOPS?",
    "Seconds": "SECONDS",
    "Bytes": "BYTES",
    "Bits": "BITS",
    "Pixels": "PIXELS|PX",
    "Nodes": "NODES",
    "Rows": "ROWS",
    "Lines": "LINES",
    "Columns": "COLUMNS",
    "Characters": "CHARACTERS",
    "Degrees": "DEGREES",
    "Percent": "PERCENT",
    "Inches": "INCHES",
    "Frames": "FRAMES",
    "Patches": "PATCHES",
    "Greys": "GREYS",
    "Colours": "COLOURS",
    "Rounds": "ROUNDS",
    "LUTs": "LUTS",
}
"""The units with which the reason of a constant may begin, and their form in its name."""


def constants_without_their_unit(path: str, tree: ast.Module) -> list[str]:
    """The plain numbers of a module whose reason begins with a unit that their name lacks."""
    found = []
    for node, after in zip(tree.body, tree.body[1:], strict=False):
        if not (isinstance(node, ast.Assign) and isinstance(after, ast.Expr)):
            continue
        if isinstance(node.value, ast.Tuple) or not _is_numeric(node.value):
            continue
        name, reason = ast.unparse(node.targets[0]), ast.unparse(after.value).strip("'\"")
        for unit, form in UNITS.items():
            if re.match(rf"(?:In )?{unit}\b", reason) and not re.search(form, name):
                found.append(f"{path}: {name} in {unit}")
    return found


def constants_on_one_line(path: str, tree: ast.Module) -> list[str]:
    """The lines of a module that give several constants their values, one by one."""
    return [
        f"{path}: {ast.unparse(node.targets[0])}"
        for node in tree.body
        if isinstance(node, ast.Assign)
        and isinstance(node.targets[0], ast.Tuple)
        and isinstance(node.value, ast.Tuple)
    ]


def _is_numeric(value: ast.expr) -> bool:
    """Whether a constant is a number, or numbers alone."""
    match value:
        case ast.Constant(value=bool()):
            return False
        case ast.Constant(value=int() | float()):
            return True
        case ast.UnaryOp(operand=inner):
            return _is_numeric(inner)
        case ast.BinOp(left=left, right=right):
            return _is_numeric(left) and _is_numeric(right)
        case ast.Tuple(elts=several) | ast.List(elts=several) | ast.Set(elts=several):
            return bool(several) and all(_is_numeric(each) for each in several)
    return False


def lines_of(function: Function) -> int:
    """The lines of a function without its decorators and its docstring."""
    assert function.end_lineno is not None
    whole = function.end_lineno - function.lineno + 1
    first = function.body[0]
    if isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant):
        assert first.end_lineno is not None
        whole -= first.end_lineno - first.lineno + 1
    return whole


def arguments_of(function: Function) -> int:
    """How many arguments a function takes; `self` and `cls` do not count."""
    given = function.args
    named = [*given.posonlyargs, *given.args, *given.kwonlyargs, given.vararg, given.kwarg]
    return sum(each is not None and each.arg not in ("self", "cls") for each in named)


def imports_that_run(tree: ast.Module, known: set[str]) -> set[str]:
    """The modules of `known` that a module imports, inside functions too.

    What is imported for type checkers only does not count: it never runs.
    """
    found: set[str] = set()

    def look(node: ast.AST) -> None:
        for each in ast.iter_child_nodes(node):
            if isinstance(each, ast.If) and "TYPE_CHECKING" in ast.unparse(each.test):
                continue
            if isinstance(each, ast.ImportFrom) and each.module:
                for name in each.names:
                    whole = f"{each.module}.{name.name}"
                    found.add(whole if whole in known else each.module)
            elif isinstance(each, ast.Import):
                found.update(name.name for name in each.names)
            look(each)

    look(tree)
    return found & known


def module_graph() -> dict[str, set[str]]:
    """For each module of the package but its face: those that it imports."""
    trees = {}
    for path, tree in modules():
        parts = ["lutbench", *path.removesuffix(".py").split("/")]
        trees[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = tree
    del trees["lutbench"]  # loads names of every floor on first use
    return {name: imports_that_run(tree, set(trees)) for name, tree in trees.items()}


def circles(graph: dict[str, set[str]]) -> list[list[str]]:
    """The groups of modules that reach each other: what is left when leaves are picked off."""
    left = {name: set(others) - {name} for name, others in graph.items()}
    reached = {name: _reach(left, name) for name in left}
    groups = {
        tuple(sorted(other for other in reached[name] if name in reached[other]))
        for name in left
        if name in reached[name]
    }
    return [list(group) for group in sorted(groups)]


def _reach(graph: dict[str, set[str]], start: str) -> set[str]:
    found: set[str] = set()
    waiting = list(graph[start])
    while waiting:
        name = waiting.pop()
        if name not in found:
            found.add(name)
            waiting += graph[name]
    return found
