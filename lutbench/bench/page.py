"""The page: one HTML file that needs no other file and no network."""

from __future__ import annotations

from base64 import b64encode
from functools import cache
from hashlib import sha256
from html import escape
from importlib.resources import files as package_files
from pathlib import Path
from typing import Any

from lutbench import files
from lutbench.bench.contents import Packer
from lutbench.bench.gather import Order, gather
from lutbench.given import harmless

LIVE = {"data": "set.json", "events": "events"}
"""Where a served page fetches its set again, relative to its own address."""


@cache
def built(name: str) -> str:
    """A file that the web build made: ``bench.js`` or ``bench.css``."""
    return (package_files("lutbench.bench") / "built" / name).read_text(encoding="utf-8")


def write_bench(order: Order, path: str | Path, *, force: bool = False) -> dict[str, Any]:
    """Write the bench of `order` to `path` and return its data.

    Raises LutbenchError when a file cannot be read, or `path` exists and `force` is not set.
    """
    files.refuse_existing(Path(path), force)
    bench, _ = gather(order)
    data = Packer().data(bench)
    files.write_text(path, page_html(data), force=force)
    return data


def page_html(data: dict[str, Any]) -> str:
    """The page for a set's data; with ``live`` in the data it follows its server."""
    script, style = built("bench.js"), built("bench.css")
    return f"""<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="{policy(live=data["live"] is not None)}">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="referrer" content="no-referrer">
<meta name="color-scheme" content="light dark">
<link rel="icon" href="data:,">
<title>{escape(harmless(data["title"]))}: live bench</title>
<style>{style}</style>
</head>
<body>
<header><h1>{escape(harmless(data["title"]))}</h1><p>Live bench</p></header>
<main id="bench"><p>The bench needs JavaScript and WebGL 2.</p></main>
<script type="application/json" id="bench-data">{data_text(data)}</script>
<script>{script}</script>
</body>
</html>
"""


def policy(live: bool) -> str:
    """The content security policy: only the page's own script and style.

    >>> "connect-src 'none'" in policy(live=False)
    True
    """
    rules = {
        "default-src": "'none'",
        "script-src": _hash(built("bench.js")),
        "style-src": _hash(built("bench.css")),
        "img-src": "data:",
        "connect-src": "'self'" if live else "'none'",
        "base-uri": "'none'",
        "form-action": "'none'",
        "require-trusted-types-for": "'script'",
    }
    return "; ".join(f"{name} {value}" for name, value in rules.items())


def _hash(text: str) -> str:
    return f"'sha256-{b64encode(sha256(text.encode('utf-8')).digest()).decode('ascii')}'"


def data_text(data: dict[str, Any]) -> str:
    """Data as JSON that cannot end a script element, whatever it contains.

    >>> data_text({"title": "</script><!--"})
    '{"title":"\\\\u003c/script\\\\u003e\\\\u003c!--"}'
    """
    # A direction mark in a name would reverse the text beside it in the page.
    text = harmless(files.json_text(data))
    for character in "<>&":
        text = text.replace(character, f"\\u{ord(character):04x}")
    return text
