"""The levels card as HTML and as a picture."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from lutbench.cli.levels import command
from lutbench.errors import LutbenchError
from lutbench.exposure.csv_table import csv_text
from lutbench.exposure.levels import levels
from lutbench.model.catalogue import open_catalogue
from lutbench.report.card import card_html, card_png, write_card
from lutbench.tables.lut import Lut3D

DAY = levels(
    open_catalogue(user=False).curve("BT.2100 HLG"),
    Lut3D.identity(5),
    lut_name='<script>alert("1")</script>.cube',
    zebra_min=50,
    over_exposure=3.2,
)


def test_html_holds_the_levels_and_escapes_names() -> None:
    page = card_html(DAY)
    assert "<script>" not in page
    assert "&lt;script&gt;" in page
    # Report ITU-R BT.2408: mid grey at 38 % of HLG; 37.8 % is 387 in full range, 395 in legal.
    assert "<td>37.8</td>" in page
    assert "<td>387</td><td>395</td>" in page
    assert "http" not in page.replace("http://www.w3.org", "")
    assert 'role="img" aria-label="Signal levels on BT.2100 HLG' in page
    assert page == card_html(DAY)


def test_an_under_exposed_day_records_subjects_darker() -> None:
    curve = open_catalogue(user=False).curve("BT.2100 HLG")
    assert "Exposed −1 stop: every subject is recorded that much darker." in card_html(
        levels(curve, exposed=-1.0)
    )
    assert "Exposed +2 stops: every subject is recorded that much brighter." in card_html(
        levels(curve, exposed=2.0)
    )


def test_png_is_a_picture_of_a5_shape(tmp_path: Path) -> None:
    import OpenImageIO as oiio

    path = tmp_path / "card.png"
    path.write_bytes(card_png(DAY))
    spec = oiio.ImageInput.open(str(path)).spec()
    assert spec.width / spec.height == pytest.approx(148 / 210, abs=0.002)
    assert card_png(DAY) == path.read_bytes()


def test_a_card_of_another_kind_is_refused(tmp_path: Path) -> None:
    with pytest.raises(LutbenchError, match=r"\.html, \.png"):
        write_card(DAY, tmp_path / "card.pdf")


def test_csv_has_a_line_a_level() -> None:
    lines = csv_text(DAY).splitlines()
    assert len(lines) == len(DAY.levels) + 1
    assert lines[0].startswith("label,reflectance,stops,clipped,percent,full_8bit,full_10bit")
    grey = next(line for line in lines if line.startswith("mid grey,"))
    # label, reflectance, stops, clipped, percent, full 8, 10, 12, legal 8, 10, 12
    assert grey.split(",")[:11] == [
        "mid grey", "0.18", "0.000", "", "37.826", "96", "387", "1549", "99", "395", "1581",
    ]  # fmt: skip


def test_command(tmp_path: Path) -> None:
    card = tmp_path / "card.html"
    run = CliRunner().invoke(
        command, ["--curve", "bt.2100 hlg", "--zebra-min", "50", "--card", str(card)]
    )
    assert run.exit_code == 0, run.output
    assert "under the lowest zebra setting of 50 %" in " ".join(run.output.split())
    assert card.read_text(encoding="utf-8").startswith("<!doctype html>")
    assert CliRunner().invoke(command, ["--curve", "BT.709", "--csv", "--json"]).exit_code == 1
