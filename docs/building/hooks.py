"""What mkdocs does beside its own work.

Formulas become MathML, so that a page needs no script and nothing from the network
to show them.
"""

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


# The brace before the cases of a formula grows only with a mathematical font,
# which not every machine has: a rule of the style sheet stands in for it.
BRACE = re.compile(r'<mo stretchy="true" fence="true" form="prefix">&#x0007B;</mo><mtable>')


def _mathml(latex: str, display: str) -> str:
    mathml = convert(html.unescape(latex).strip(), display=display)
    return BRACE.sub('<mtable class="cases">', mathml)
