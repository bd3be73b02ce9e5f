"""Draw the pictures of the tutorials from the demo set: the box, the set sheet, the card.

    python docs/building/shown.py

The box and the sheet are taken from the pages by Chromium, as the tests start it
(`pip install playwright` and a `chromium` on the path). `--out` draws elsewhere.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

import click

from lutbench.cli.main import main as lutbench

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "luts_demo"
PICTURES = ROOT / "docs" / "pictures"
FLAGS = ("--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-sync")
RECORDED = ("--source-curve", "Tarn Log", "--source-gamut", "Tarn Wide")
WIDTH = 900
"""CSS pixels: as wide as the column of a page of the manual, so that text stays readable."""


def run(*words: object) -> None:
    """A command of lutbench, which has to succeed."""
    try:
        lutbench([str(word) for word in words])
    except SystemExit as end:
        if end.code:
            raise click.ClickException(f"lutbench {words[0]} ended with {end.code}") from None


def pages(folder: Path) -> tuple[Path, Path]:
    """The page of the viewing LUT, and the sheet of the set."""
    tarn = ("--definitions", DEMO / "tarn.toml")
    luts, page, sheet = folder / "card", folder / "viewing.html", folder / "set.html"
    run("build", DEMO / "salt_road.toml", "-o", luts)
    run("inspect", luts / "viewing.cube", *RECORDED, *tarn, "--page", page)
    run("inspect", luts, *tarn, "--set-sheet", sheet)
    day = ("--project", "Salt Road", "--date", "day 1", "--exposure-index", "800")
    lut = ("--lut", luts / "viewing.cube", "--zebra-min", 50)
    run("levels", "--curve", "Tarn Log", *tarn, *lut, *day, "--card", folder / "card.png")
    return page, sheet


def shoot(shots: Sequence[tuple[Path, str, Path, int]]) -> None:
    """Take a picture of an element of each page: page, selector, file, most height."""
    from playwright.sync_api import sync_playwright

    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=list(FLAGS))
        for page, selector, file, height in shots:
            view = browser.new_page(viewport={"width": WIDTH, "height": 700})
            view.goto(page.as_uri())
            box = view.locator(selector).bounding_box()
            assert box is not None
            high = min(box["height"], height)
            view.screenshot(path=file, full_page=True, clip=box | {"height": high})
        browser.close()


@click.command()
@click.option("--out", type=click.Path(file_okay=False, path_type=Path), default=PICTURES)
def main(out: Path) -> None:
    """Draw box.png, set-sheet.jpg and card.png."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        page, sheet = pages(folder)
        shoot([
            (page, ".box", out / "box.png", 900),
            (sheet, "main", out / "set-sheet.jpg", 1200),
        ])  # fmt: skip
        shutil.copy(folder / "card.png", out / "card.png")


if __name__ == "__main__":
    sys.exit(main())
