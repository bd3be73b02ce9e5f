"""ASC CDL files: read and write; the arithmetic against colour-clf-io."""

from __future__ import annotations

from pathlib import Path

import colour_clf_io as clf
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree

import lutbench
from lutbench.errors import FormatError, LutbenchError
from lutbench.formats.cdl import Correction, format_cdl, read_corrections, write_cdl
from lutbench.formats.clf_write import format_clf
from lutbench.formats.registry import read_lut_file
from lutbench.model.grade import Cdl

LOOK = Cdl((1.1, 1.0, 0.9), (-0.03, 0.02, 0.0), (1.25, 1.0, 0.8), 1.3)
NUMBERS = st.floats(0.01, 10)
TRIPLES = st.tuples(NUMBERS, NUMBERS, NUMBERS)

# The form of the examples in the ASC CDL 1.2 document, from memory.
DECISIONS = """<?xml version="1.0" encoding="UTF-8"?>
<ColorDecisionList xmlns="urn:ASC:CDL:v1.2">
  <InputDescription>log, legal range</InputDescription>
  <ColorDecision>
    <MediaRef ref="http://example.org/shot1"/>
    <ColorCorrection id="cc0001">
      <SOPNode>
        <Description>day exterior</Description>
        <Slope>1.1 1.0 0.9</Slope>
        <Offset>-0.03 0.02 0.0</Offset>
        <Power>1.25 1.0 0.8</Power>
      </SOPNode>
      <SatNode><Saturation>1.3</Saturation></SatNode>
    </ColorCorrection>
  </ColorDecision>
  <ColorDecision>
    <ColorCorrection id="cc0002">
      <SatNode><Saturation>0.5</Saturation></SatNode>
    </ColorCorrection>
  </ColorDecision>
</ColorDecisionList>
"""


def written(tmp_path: Path, name: str, text: str) -> Path:
    path = tmp_path / name
    path.write_text(text)
    return path


def test_a_decision_list_is_read(tmp_path: Path) -> None:
    path = written(tmp_path, "day.cdl", DECISIONS)
    first, second = read_corrections(path)
    assert first == Correction(LOOK, "cc0001", ("day exterior",))
    assert second == Correction(Cdl(saturation=0.5), "cc0002")


def test_one_of_several_is_asked_for_by_id(tmp_path: Path) -> None:
    path = written(tmp_path, "day.cdl", DECISIONS)
    assert lutbench.open_lut(f"{path}#cc0002") == Cdl(saturation=0.5)
    read = read_lut_file(f"{path}#cc0001")
    assert (read.lut, read.format, read.title) == (LOOK, "cdl", "cc0001")
    with pytest.raises(FormatError, match=r"holds 2 corrections.*cc0001, cc0002"):
        lutbench.open_lut(path)
    with pytest.raises(FormatError, match=r"'cc0003'.*cc0001, cc0002"):
        lutbench.open_lut(f"{path}#cc0003")


@pytest.mark.parametrize("kind", ["cdl", "cc", "ccc"])
def test_each_kind_comes_back(tmp_path: Path, kind: str) -> None:
    path = tmp_path / f"look.{kind}"
    one = Correction(LOOK, "day", ("exterior", "no sun"))
    assert write_cdl(one, path) == ()
    assert read_corrections(path) == (one,)
    assert lutbench.open_lut(path) == LOOK
    assert read_lut_file(path).format == kind
    assert read_lut_file(path).notes == ()


@pytest.mark.parametrize("kind", ["cdl", "ccc"])
def test_several_come_back_in_order(kind: str, tmp_path: Path) -> None:
    path = tmp_path / f"looks.{kind}"
    several = [Correction(Cdl(saturation=n / 4), f"id{n}") for n in range(4)]
    write_cdl(several, path)
    assert list(read_corrections(path)) == several


@settings(deadline=None)
@given(TRIPLES, TRIPLES, TRIPLES, NUMBERS)
def test_any_numbers_come_back(slope, offset, power, saturation) -> None:  # type: ignore[no-untyped-def]
    cdl = Cdl(slope, offset, power, saturation)
    root = etree.fromstring(format_cdl([Correction(cdl)], "cc"))
    texts = [root.findtext(f".//{{*}}{name}") for name in ("Slope", "Offset", "Power")]
    assert [tuple(map(float, (text or "").split())) for text in texts] == [slope, offset, power]
    assert float(root.findtext(".//{*}Saturation") or "") == saturation


@settings(deadline=None)
@given(st.text(), st.lists(st.text(), max_size=3))
def test_any_text_can_be_written(title: str, comments: list[str]) -> None:
    one = Correction(LOOK, title, tuple(comments))
    etree.fromstring(format_cdl([one], "ccc"))
    etree.fromstring(format_clf(LOOK, title=title, comments=tuple(comments))[0])


def test_the_arithmetic_is_that_of_colour_clf_io(tmp_path: Path) -> None:
    path = written(tmp_path, "day.cdl", DECISIONS)
    rgb = np.random.default_rng(4).normal(0.4, 0.5, (100, 3))
    ours = lutbench.open_lut(f"{path}#cc0001")
    processor = clf.CLFProcessList(clf.read_clf(format_clf(LOOK)[0]))
    theirs = np.array([processor.apply(pixel) for pixel in rgb])
    assert np.allclose(ours.apply(rgb), theirs, rtol=1e-12, atol=1e-12)


def test_what_is_tolerated_is_noted(tmp_path: Path) -> None:
    text = (
        "<ColorCorrection id='a'><SOPNode><Slope>2 2 2</Slope></SOPNode>"
        "<SATNode><Saturation>1</Saturation></SATNode></ColorCorrection>"
    )
    read = read_lut_file(written(tmp_path, "a.cc", text))
    assert read.lut == Cdl((2.0, 2.0, 2.0))
    assert len(read.notes) == 4  # namespace, SATNode, Offset, Power


def test_a_correction_that_does_not_clamp_is_noted(tmp_path: Path) -> None:
    notes = write_cdl(Cdl(saturation=0.9, clamp=False), tmp_path / "a.cc")
    assert "clamp" in notes[0]


REFUSED = {
    "nothing inside": ("<ColorDecisionList/>", "holds no correction"),
    "empty correction": ("<ColorCorrection/>", "without SOPNode and SatNode"),
    "two numbers": (
        "<ColorCorrection>\n<SOPNode><Slope>1 1</Slope></SOPNode></ColorCorrection>",
        "a.cc:2: Slope '1 1'",
    ),
    "words": (
        "<ColorCorrection><SOPNode><Slope>a b c</Slope></SOPNode></ColorCorrection>",
        "three finite numbers",
    ),
    "not finite": (
        "<ColorCorrection><SatNode><Saturation>inf</Saturation></SatNode></ColorCorrection>",
        "a finite number",
    ),
    "negative slope": (
        "<ColorCorrection><SOPNode><Slope>-1 1 1</Slope></SOPNode></ColorCorrection>",
        "slope >= 0",
    ),
    "twice": (
        "<ColorCorrection><SatNode/><SatNode/></ColorCorrection>",
        "SatNode twice",
    ),
    "not well-formed": ("<ColorCorrection>\n<SOPNode>\n</ColorCorrection>", "a.cc:3:"),
    "another kind": ("<html/>", "XML of another kind, <html>"),
    "entities": (
        '<!DOCTYPE a [<!ENTITY b "1">]><ColorCorrection id="&b;"/>',
        "document type",
    ),
    "too deep": ("<a>" * 50 + "</a>" * 50, "50 deep"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_what_is_refused_is_one_line(case: str, tmp_path: Path) -> None:
    text, expected = REFUSED[case]
    path = written(tmp_path, "a.cc", text)
    with pytest.raises(LutbenchError) as caught:
        lutbench.open_lut(path)
    assert expected in str(caught.value)
    assert str(path) in str(caught.value)
    assert "\n" not in str(caught.value)


def test_writing_refuses_what_the_form_cannot_hold(tmp_path: Path) -> None:
    with pytest.raises(LutbenchError, match=r"\.cdl, \.cc, \.ccc"):
        write_cdl(LOOK, tmp_path / "a.xml")
    two = [Correction(LOOK, "a"), Correction(LOOK, "b")]
    with pytest.raises(LutbenchError, match="2 corrections for a"):
        write_cdl(two, tmp_path / "a.cc")
    with pytest.raises(LutbenchError, match="have the same id"):
        write_cdl([two[0], two[0]], tmp_path / "a.ccc")


@settings(deadline=None)
@given(st.binary(max_size=80), st.floats(0, 1))
def test_damaged_xml_is_read_or_refused(piece: bytes, place: float) -> None:
    from lutbench.formats import safe_xml
    from lutbench.formats.cdl import corrections_of
    from lutbench.formats.clf_read import parse_clf

    clf_data, _ = format_clf(LOOK | Cdl())
    for data in (DECISIONS.encode(), clf_data):
        at = int(place * len(data))
        damaged = data[:at] + piece + data[at + len(piece) // 2 :]
        complaint = ""
        try:
            if data is clf_data:
                parse_clf(damaged, "a.clf")
            else:
                corrections_of(safe_xml.parse(damaged, "a.cdl"), "a.cdl")
        except LutbenchError as error:
            complaint = str(error)
        assert "\n" not in complaint
