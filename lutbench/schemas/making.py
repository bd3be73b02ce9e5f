"""Making a JSON Schema (draft 2020-12) from a TypedDict, or from a part of a report itself.

Names and types come from its annotations, descriptions and units from the docstrings of the
class and its keys. A `Hint` in an annotation adds what a type cannot express; a type in it says
what an array is as plain data. A key of a TypedDict that begins with ``_`` stands for all keys
of its type.
"""

from __future__ import annotations

import ast
import importlib
import inspect
import re
import types
from collections.abc import Sequence
from dataclasses import MISSING, dataclass, field
from functools import cache
from pathlib import Path
from typing import (
    Annotated,
    Any,
    ClassVar,
    Literal,
    NotRequired,
    Required,
    Union,
    get_args,
    get_origin,
    get_type_hints,
    is_typeddict,
)

from lutbench.model.curves.base import Curve
from lutbench.model.gamuts import Gamut
from lutbench.recipes.keys import CurveName, GamutName, Hint, TableSettings, usual, words
from lutbench.results import PlainData

DIALECT = "https://json-schema.org/draft/2020-12/schema"
PLAIN = {
    str: "string",
    Path: "string",
    int: "integer",
    float: "number",
    bool: "boolean",
    type(None): "null",
}


NAMED: dict[Any, Any] = {Curve: CurveName, Gamut: GamutName}
"""What a file names, and the type of the name."""


@dataclass
class _Made:
    """The schema while it is made: definitions by class name."""

    closed: bool
    definitions: dict[str, Any] = field(default_factory=dict)


def schema_of(kind: Any, title: str, *, closed: bool) -> dict[str, Any]:
    """The JSON Schema of a type.

    Parameters
    ----------
    kind
        A TypedDict or `PlainData`, or a union of several.
    title
        The title of the schema.
    closed
        Whether other keys are errors. They are in files that are read; in reports they are
        not, since later versions may add keys.
    """
    made = _Made(closed)
    body = _schema(kind, made)
    return {"$schema": DIALECT, "title": title, **body, "$defs": made.definitions}


def _schema(kind: Any, made: _Made) -> dict[str, Any]:
    if kind is Any:
        return {}
    if kind in PLAIN:
        return {"type": PLAIN[kind]}
    if kind in NAMED:
        return _schema(NAMED[kind], made)
    if is_typeddict(kind) or _is_class(kind, PlainData, TableSettings):
        return _reference(kind, made)
    origin, inner = get_origin(kind), get_args(kind)
    if origin is Annotated:
        as_data = next(filter(_is_type, inner[1:]), inner[0])
        return _schema(as_data, made) | _hints(inner[1:])
    if origin in (NotRequired, Required):
        return _schema(inner[0], made)
    if origin is Literal:
        return {"enum": list(inner)}
    if origin in (Union, types.UnionType):
        return {"anyOf": [_schema(each, made) for each in inner]}
    if origin is list:
        return {"type": "array", "items": _schema(inner[0], made)}
    if origin is tuple and inner[-1] is Ellipsis:
        return {"type": "array", "items": _schema(inner[0], made)}
    if origin is tuple:
        count = len(inner)
        items = [_schema(each, made) for each in inner]
        return {"type": "array", "prefixItems": items, "minItems": count, "maxItems": count}
    if origin is dict and get_origin(inner[0]) is Literal:
        keys = list(get_args(inner[0]))
        values = {key: _schema(inner[1], made) for key in keys}
        return {"type": "object", "properties": values, "required": keys}
    if origin is dict:
        return {"type": "object", "additionalProperties": _schema(inner[1], made)}
    raise TypeError(f"{kind!r} has no JSON Schema")


def _hints(given: Sequence[Any]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for each in given:
        if isinstance(each, Hint):
            found |= each.extra()
    return found


def _reference(kind: Any, made: _Made) -> dict[str, Any]:
    if kind.__name__ not in made.definitions:
        made.definitions[kind.__name__] = {}  # a placeholder, for types that contain themselves
        made.definitions[kind.__name__] = _object(kind, made)
    return {"$ref": f"#/$defs/{kind.__name__}"}


def _object(kind: Any, made: _Made) -> dict[str, Any]:
    docs = _key_docs(kind)
    if _is_class(kind, TableSettings):
        hints = _keys_of_settings(kind)
    elif _is_class(kind, PlainData):
        hints = _keys_of_data(kind, docs)
    else:
        hints = _keys_of_typed(kind, docs)
    properties = {}
    for name, annotation in hints.items():
        found = _schema(annotation, made)
        properties[name] = found | ({"description": docs[name]} if name in docs else {})
    schema: dict[str, Any] = {"type": "object", "properties": properties}
    # Not `__required_keys__`, which is wrong where annotations are strings.
    if needed := [name for name, each in hints.items() if get_origin(each) is not NotRequired]:
        schema["required"] = needed
    if made.closed:
        schema["additionalProperties"] = False
    # Without examples and the section on parameters, which has the keys of a report's part.
    about = re.split(r"\n\n(?:Parameters\n|>>> )", inspect.getdoc(kind) or "")[0]
    return ({"description": " ".join(about.split())} if about else {}) | schema


def _is_class(kind: Any, *bases: type) -> bool:
    return isinstance(kind, type) and issubclass(kind, bases)


def _is_type(hint: Any) -> bool:
    """Whether what is said in an annotation is a type: what a value is as plain data."""
    return get_origin(hint) is not None or isinstance(hint, type)


def _keys_of_settings(kind: type[TableSettings]) -> dict[str, Any]:
    """The type of each key of a table whose keys are the fields of a class."""
    found: dict[str, Any] = {}
    for key, (annotation, default) in kind.keys().items():
        if get_origin(annotation) is ClassVar:
            found[key] = Literal[default]
            continue
        given = _as_given(annotation)
        if isinstance(default, str | float | int | tuple) and default not in ("", ()):
            given = Annotated[given, usual(list(default) if type(default) is tuple else default)]
        found[key] = given if default is MISSING else NotRequired[given]
    return found


def _as_given(annotation: Any) -> Any:
    """The type of a field as a file has it: any letter case of a word, no key for None."""
    inner = get_args(annotation)
    if get_origin(annotation) is Annotated:
        return Annotated[(_as_given(inner[0]), *inner[1:])]
    if type(None) in inner:
        return _as_given(next(each for each in inner if each is not type(None)))
    if get_origin(annotation) is Literal and isinstance(inner[0], str):
        return Annotated[str, words(lambda: inner)]
    return annotation


def _keys_of_typed(kind: Any, docs: dict[str, str]) -> dict[str, Any]:
    """The type of each key of a TypedDict; descriptions of keys of other parts go to `docs`."""
    found: dict[str, Any] = {}
    for key, annotation in _hints_of(kind).items():
        found |= _keys_of_data(annotation, docs) if key[0] == "_" else {key: annotation}
    return found


def _hints_of(kind: Any) -> dict[str, Any]:
    return get_type_hints(kind, None, _for_types_only(kind.__module__), include_extras=True)


@cache
def _for_types_only(module: str) -> dict[str, Any]:
    """What a module imports for type checkers only, by name."""
    found: dict[str, Any] = {}
    for node in ast.walk(_tree(module)):
        if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
            for each in ast.walk(node):
                if isinstance(each, ast.ImportFrom) and each.module:
                    held = importlib.import_module(each.module)
                    found |= {name.name: getattr(held, name.name) for name in each.names}
    return found


def _tree(module: str) -> ast.Module:
    return ast.parse(inspect.getsource(importlib.import_module(module)))


def _keys_of_data(kind: type[PlainData], docs: dict[str, str]) -> dict[str, Any]:
    """The type of each key of a report's part; descriptions by key are added to `docs`."""
    found: dict[str, Any] = {}
    for key, marked in kind.data_keys().items():
        annotation, about = _member(kind, marked.strip("*?"))
        if marked.startswith("*"):
            found |= _keys_of_data(annotation, docs)
            continue
        found[key] = _or_null(annotation) if marked.endswith("?") else annotation
        docs |= {key: about} if about else {}
    return found


def _or_null(annotation: Any) -> Any:
    """The type of a text that is null where it is empty."""
    if get_origin(annotation) is Literal:
        annotation = Literal[tuple(each for each in get_args(annotation) if each)]
    return annotation | None


def _member(kind: Any, path: str) -> tuple[Any, str]:
    """Type and description of a field or property, or of ``name.inner`` of what it holds."""
    name, _, rest = path.partition(".")
    member = inspect.getattr_static(kind, name, None)
    getter = getattr(member, "fget", None) or getattr(member, "func", None)
    if getter is not None:
        annotation, about = _hints_of(getter)["return"], " ".join((getter.__doc__ or "").split())
    else:
        annotation, about = _hints_of(kind)[name], _key_docs(kind).get(name, "")
    if get_origin(annotation) is ClassVar:
        annotation = get_args(annotation)[0]
    if not rest:
        return annotation, about
    is_union = get_origin(annotation) in (Union, types.UnionType)
    options = get_args(annotation) if is_union else (annotation,)
    # One of several classes of LUT is as good as the others.
    inner, about = _member(next(each for each in options if each is not type(None)), rest)
    return (inner | None if type(None) in options else inner), about


def _key_docs(kind: Any) -> dict[str, str]:
    """The docstring below each key of a class and its bases."""
    found: dict[str, str] = {}
    described = _is_class(kind, PlainData, TableSettings)
    for each in kind.__mro__[:0:-1] if described else getattr(kind, "__orig_bases__", ()):
        if is_typeddict(each) or (
            _is_class(each, PlainData, TableSettings) and each is not PlainData
        ):
            found |= _key_docs(each)
    return found | _key_docs_of_module(kind.__module__).get(kind.__name__, {})


@cache
def _key_docs_of_module(module: str) -> dict[str, dict[str, str]]:
    """Docstrings of keys by class, from a module's source, since Python does not keep them."""
    return {
        node.name: {
            key.target.id: " ".join(text.value.value.split())
            for key, text in zip(node.body, node.body[1:], strict=False)
            if isinstance(key, ast.AnnAssign)
            and isinstance(key.target, ast.Name)
            and isinstance(text, ast.Expr)
            and isinstance(text.value, ast.Constant)
            and isinstance(text.value.value, str)
        }
        for node in _tree(module).body
        if isinstance(node, ast.ClassDef)
    }
