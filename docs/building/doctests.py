"""Doctests of a docstring as an "Examples" section of their own.

The docstrings of the package end in doctests without a heading; the reader of
numpy-style docstrings would take them for text, or for the last section's rows.
"""

from __future__ import annotations

import re
from typing import Any

import griffe

# A run of doctest lines (prompts and what they print) up to an empty line.
BLOCK = re.compile(r"(?:^ *>>> .*\n?(?:^ *\S.*\n?)*\n*)+", re.M)


class Doctests(griffe.Extension):
    """Move the doctests of every docstring under a heading at its end."""

    def on_object(self, *, obj: griffe.Object, **_: Any) -> None:
        """Rewrite the docstring of a module, class, function or attribute."""
        docstring = obj.docstring
        if docstring is None or ">>> " not in docstring.value:
            return
        blocks = BLOCK.findall(docstring.value)
        text = BLOCK.sub("", docstring.value).rstrip()
        examples = "\n\n".join(block.strip("\n") for block in blocks)
        docstring.value = f"{text}\n\nExamples\n--------\n{examples}\n"
