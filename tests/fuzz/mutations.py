"""Damage, as hypothesis draws it: to bytes, to the fields of a header, to the structure."""

from __future__ import annotations

import copy
import hashlib
import struct
import tomllib
import zlib
from typing import Any

from hypothesis import strategies as st
from seeds import DEFINITIONS, RECIPES, SUITE, seeds, toml
from test_cube_properties import EDITS, mutated  # found by way of seeds

from lutbench.checks.baselines import HEAD

# --- bytes ---------------------------------------------------------------------------------------

_FIELDS = {1: "B", 2: "H", 4: "I", 8: "Q"}


@st.composite
def fields(draw: st.DrawFn, data: bytes) -> bytes:
    """Whole numbers of a header overwritten; the file cut short or doubled."""
    out = bytearray(data)
    for _ in range(draw(st.integers(1, 4))):
        width = draw(st.sampled_from([1, 2, 4, 8]))
        # Most of what can go wrong stands in the first kibibytes.
        at = draw(st.integers(0, max(0, min(len(out), 2100) - width)))
        top = (1 << 8 * width) - 1
        value = draw(
            st.sampled_from(
                [0, 1, 2, 3, 7, top, top - 1, top >> 1, (top >> 1) + 1, 1 << (4 * width)]
            )
            | st.integers(0, top)
        )
        order = draw(st.sampled_from("<>"))
        out[at : at + width] = struct.pack(order + _FIELDS[width], value)
    end = draw(st.sampled_from(["", "", "", "cut", "doubled"]))
    if end == "cut":
        del out[draw(st.integers(0, len(out))) :]
    return bytes(out + out) if end == "doubled" else bytes(out)


@st.composite
def png_chunks(draw: st.DrawFn, data: bytes) -> bytes:
    """Chunks changed, left out, doubled, swapped; their checks right again."""
    chunks, at = [], 8
    while at + 12 <= len(data):
        (length,) = struct.unpack(">I", data[at : at + 4])
        chunks.append((data[at + 4 : at + 8], data[at + 8 : at + 8 + length]))
        at += 12 + length
    for _ in range(draw(st.integers(1, 3))):
        place = draw(st.integers(0, len(chunks) - 1))
        name, body = chunks[place]
        what = draw(st.sampled_from(["fields", "bytes", "drop", "double", "swap", "name"]))
        if what == "fields" and len(body) >= 8:
            chunks[place] = (name, draw(fields(body)))
        elif what == "bytes":
            chunks[place] = (name, mutated(body, draw(EDITS)))
        elif what == "drop" and len(chunks) > 1:
            del chunks[place]
        elif what == "double":
            chunks.insert(place, (name, body))
        elif what == "swap":
            other = draw(st.integers(0, len(chunks) - 1))
            chunks[place], chunks[other] = chunks[other], chunks[place]
        else:
            names = [
                b"PLTE",
                b"tRNS",
                b"iCCP",
                b"tEXt",
                b"zTXt",
                b"eXIf",
                b"acTL",
                b"cICP",
                b"sBIT",
            ]
            chunks[place] = (draw(st.sampled_from(names)), body)
    return data[:8] + b"".join(
        struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))
        for name, body in chunks
    )


# --- lines ---------------------------------------------------------------------------------------

HOSTILE_WORDS = [
    *(
        "nan",
        "inf",
        "-inf",
        "1e999",
        "-1e308",
        "1e-320",
        "0",
        "-0",
        "1",
        "-1",
        "0x10",
        "1_0",
        "1,5",
    ),
    *("", '"', "#", "﻿", "\x00", "\u202e", "9" * 400, "½", "²", "１", "<script>alert(1)</script>"),
    *("LUT_3D_SIZE 257", "LUT_3D_SIZE 2", "LUT_1D_SIZE 65537", "DOMAIN_MIN 1 1 1", "x" * 5000),
]


@st.composite
def lines(draw: st.DrawFn, data: bytes) -> bytes:
    """Lines left out, doubled, swapped; words of a line replaced."""
    text = data.decode("utf-8", "replace").split("\n")
    for _ in range(draw(st.integers(1, 4))):
        place = draw(st.integers(0, len(text) - 1))
        what = draw(st.sampled_from(["drop", "double", "swap", "word", "word", "word"]))
        if what == "drop" and len(text) > 1:
            del text[place]
        elif what == "double":
            text[place:place] = [text[place]] * draw(st.sampled_from([1, 2, 1000]))
        elif what == "swap":
            other = draw(st.integers(0, len(text) - 1))
            text[place], text[other] = text[other], text[place]
        else:
            comma = "," if "," in text[place] else " "
            words = text[place].split(comma)
            words[draw(st.integers(0, len(words) - 1))] = draw(
                st.sampled_from(HOSTILE_WORDS) | st.floats().map(repr)
            )
            text[place] = comma.join(words)
    return "\n".join(text).encode("utf-8", "replace")


def _digested(data: bytes) -> bytes:
    """A baseline whose digest is right again, so that what follows is read."""
    rest = data.decode("utf-8", "replace").split("\n")[3:]
    digest = hashlib.sha256("\n".join(rest).encode("utf-8")).hexdigest()
    return "\n".join([HEAD, "# made by: lutbench", f"# sha256: {digest}", *rest]).encode("utf-8")


# --- trees ---------------------------------------------------------------------------------------

SCALARS = (
    st.sampled_from(
        [
            *(0, -1, 1, 2, 3, 257, 65537, 2**31, 2**63 - 1, -(2**63), 10**400, True, False),
            *(0.0, -0.0, 1e-320, 1e308, -1e308, float("nan"), float("inf"), float("-inf"), 1e-9),
            *("", " ", "\x00", "..", "../../etc/passwd", "/dev/zero", "/dev/stdin", "a/../../b"),
            *(
                "CON",
                "x" * 5000,
                "{",
                "%s",
                "{0}",
                "[red]",
                "\u202e",
                "BT.709",
                "bt.1886",
                "linear",
            ),
            *(
                "sRGB",
                "ACES",
                "ST 2084",
                "HLG",
                "custom",
                "#zzzzzz",
                "none",
                "nan",
                "day.cube",
                ".",
            ),
            *("in.toml", "in.toml#x", "recipe.toml", "recipe.toml#day/viewing", "day.csv"),
            *(
                "BT.709 to sRGB",
                " to ",
                "BT.709, BT.709 to BT.709; size=2",
                "a, b to c; size=99999",
            ),
            *("<script>alert(1)</script>", "a\nb", "é" * 120, "tarn.toml", "curve.csv"),
        ]
    )
    | st.floats()
    | st.integers(-1000, 1000)
    | st.text(max_size=6).filter(lambda text: text.isprintable())
)
TREES = SCALARS | st.sampled_from(
    [[], {}, [[]], [{}], {"": {}}, [1, "a"], [[0, 0]] * 3, [0.0] * 3, {"name": "x"}, [1] * 2000]
)


def _places(tree: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    found = [path] if path else []
    items = tree.items() if isinstance(tree, dict) else enumerate(tree)
    for key, value in items:
        if isinstance(value, dict | list):
            found += _places(value, (*path, key))
        else:
            found.append((*path, key))
    return found


def _at(tree: Any, path: tuple[Any, ...]) -> Any:
    for key in path:
        tree = tree[key]
    return tree


@st.composite
def tree(draw: st.DrawFn, whole: dict[str, Any]) -> bytes:
    """A TOML file with values replaced, left out, moved, renamed."""
    out = copy.deepcopy(whole)
    for _ in range(draw(st.integers(1, 4))):
        places = _places(out)
        if not places:
            break
        path = draw(st.sampled_from(places))
        parent, key = _at(out, path[:-1]), path[-1]
        what = draw(st.sampled_from(["value", "value", "value", "drop", "take", "name", "double"]))
        if what == "value":
            parent[key] = copy.deepcopy(draw(TREES))
        elif what == "drop":
            del parent[key]
        elif what == "take":
            parent[key] = copy.deepcopy(_at(out, draw(st.sampled_from(places))))
        elif what == "name" and isinstance(parent, dict):
            new = draw(SCALARS.filter(lambda each: isinstance(each, str)))
            parent[new] = parent.pop(key)
        elif isinstance(parent, list):
            parent[key:key] = [copy.deepcopy(parent[key])] * draw(st.sampled_from([1, 600]))
    return toml(out)


@st.composite
def xml_tree(draw: st.DrawFn, data: bytes) -> bytes:
    """Elements left out, doubled, renamed, nested; texts and attributes replaced."""
    from lxml import etree

    root = etree.fromstring(data)
    texts = st.sampled_from(
        [
            *("", "nan", "inf", "1e999", "0", "-1", "1 2", "0 " * 300, "x", "½", "1e-320", "-1e38"),
            *("2 2 2 3", "256 256 256 3", "999999999 3", "65536 1", "3 3", "3 4 3", "32f", "16f"),
            *("10i", "linear", "tetrahedral", "basicFwd", "moncurveRev", "log2", "cameraLinToLog"),
            *("noClamp", "true", "urn:x", "<script>", "R", "B", "4 4 4 3", "65537 3", "1e38 " * 3),
        ]
    ) | st.floats().map(repr)
    for _ in range(draw(st.integers(1, 4))):
        every = list(root.iter("*"))
        node = draw(st.sampled_from(every))
        parent = node.getparent()
        what = draw(
            st.sampled_from([*["text", "word", "attribute"] * 2, "drop", "double", "name", "nest"])
        )
        if what == "text":
            node.text = draw(texts)
        elif what == "word" and (words := (node.text or "").split()):
            words[draw(st.integers(0, len(words) - 1))] = draw(texts)
            node.text = " ".join(words)
        elif what == "attribute":
            names = [name for each in every for name in each.attrib]
            if names:
                node.set(draw(st.sampled_from(sorted(set(names)))), draw(texts))
        elif what == "drop" and parent is not None:
            parent.remove(node)
        elif what == "double" and parent is not None:
            for _ in range(draw(st.sampled_from([1, 3, 50]))):
                parent.append(copy.deepcopy(node))
        elif what == "name":
            node.tag = draw(st.sampled_from(sorted({each.tag for each in every})))
        elif what == "nest":
            for _ in range(draw(st.sampled_from([1, 40]))):
                inner = copy.deepcopy(node)
                node.append(inner)
                node = inner
                if len(etree.tostring(root)) > 1 << 20:
                    break
    return etree.tostring(root)


# --- kinds ---------------------------------------------------------------------------------------


@st.composite
def _edited(draw: st.DrawFn, data: bytes) -> bytes:
    return mutated(data, draw(EDITS))


_STRUCTURED: dict[str, list[st.SearchStrategy[bytes]]] = {
    "definitions": [tree(DEFINITIONS)],
    "recipe": [tree(each) for each in RECIPES],
    "suite": [tree(SUITE)],
}


def cases(kind: str) -> st.SearchStrategy[bytes]:
    """Damaged files of that kind."""
    whole = seeds()[kind]
    choices: list[st.SearchStrategy[bytes]] = [_edited(each) for each in whole]
    choices += _STRUCTURED.get(kind, [])
    if kind in ("cube", "curve table", "baseline table", "baseline LUT"):
        choices += [lines(each) for each in whole]
    if kind == "baseline table":
        choices = [each.map(_digested) for each in choices] + choices
    if kind in ("clf", "cdl", "cc", "ccc"):
        choices += [xml_tree(each) for each in whole]
    if kind in ("png", "jpeg", "tiff", "openexr", "dpx", "clip"):
        choices += [fields(each) for each in whole]
    if kind == "png":
        choices += [png_chunks(each) for each in whole]
    # Structure is damaged as often as bytes are.
    return st.one_of(choices)


def checked_seeds() -> None:
    """The trees are written as TOML that reads back as they are."""
    for data in (DEFINITIONS, SUITE, *RECIPES):
        assert tomllib.loads(toml(data).decode()) == data
