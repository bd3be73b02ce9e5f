"""How LUTs show themselves in a notebook."""

from __future__ import annotations

import numpy as np
import pytest
from lxml import etree

from lutbench.tables.lut import Lut, Lut1D, Lut3D, ShaperLut3D

LINE = Lut1D(np.array([[0.0] * 3, [1.0] * 3]))


@pytest.mark.parametrize("lut", [LINE, Lut3D.identity(9), ShaperLut3D(LINE, Lut3D.identity(5))])
def test_html_is_well_formed_and_says_what_it_is(lut: Lut) -> None:
    html = lut.with_title("<b>Salt & pan</b>")._repr_html_()
    tree = etree.fromstring(html)
    assert "<b>Salt & pan</b>" in "".join(tree.itertext())
    assert type(lut).__name__ in "".join(tree.itertext())
    # An identity runs from the lower left to the upper right of the box.
    points = tree.find(".//polyline").get("points").split()
    assert (points[0], points[-1]) == ("0.0,120.0", "120.0,0.0")
    assert len(tree.findall(".//span")) == 8
