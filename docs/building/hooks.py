"""What mkdocs does beside its own work: formulas become MathML, so that a page
needs no script and nothing from the network to show them."""

from __future__ import annotations

import html
import re
from typing import Any

from latex2mathml.converter import convert

# What pymdownx.arithmatex leaves in the page for $inline$ and $$block$$ formulas.
INLINE = re.compile(r'<span class="arithmatex">\\\((.*?)\\\)</span>', re.S)
BLOCK = re.compile(r'<div class="arithmatex">\s*\\\[(.*?)\\\]\s*</div>', re.S)


def on_page_content(content: str, **_: Any) -> str:
    """Formulas of a page as MathML."""
    content = INLINE.sub(lambda found: _mathml(found[1], "inline"), content)
    return BLOCK.sub(
        lambda found: f'<div class="formula">{_mathml(found[1], "block")}</div>', content
    )


def _mathml(latex: str, display: str) -> str:
    return convert(html.unescape(latex).strip(), display=display)
