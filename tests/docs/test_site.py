"""The manual as a site, its links, its plots, and what it fetches (nothing)."""

from __future__ import annotations

import inspect
import os
import re
import subprocess
import sys
from collections.abc import Iterator
from importlib import util
from pathlib import Path
from typing import Any
from urllib.parse import unquote, urlsplit

import colour
import numpy as np
import pytest
import yaml
from examples import PAGES, ROOT
from lxml import etree, html
from numpy.typing import NDArray

import lutbench

BUILDING = ROOT / "docs" / "building"


def built(folder: Path) -> Path:
    """The site, built with every warning an error."""
    done = subprocess.run(
        [
            *(sys.executable, "-m", "mkdocs", "build", "--strict"),
            *("-f", str(BUILDING / "mkdocs.yml"), "-d", str(folder)),
        ],
        env=os.environ | {"NO_MKDOCS_2_WARNING": "1"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "WARNING" not in done.stderr
    return folder


def pages_of(site: Path) -> Iterator[tuple[Path, Any]]:
    for path in sorted(site.rglob("*.html")):
        yield path, html.parse(str(path)).getroot()


def test_every_page_is_in_the_navigation() -> None:
    text = (BUILDING / "mkdocs.yml").read_text(encoding="utf-8")
    named = set(re.findall(r"\S+\.md", str(yaml.safe_load(text)["nav"]).replace("'", " ")))
    there = {str(page.relative_to(ROOT / "docs")) for page in (ROOT / "docs").rglob("*.md")}
    assert named == there


def test_every_command_is_on_its_page() -> None:
    from lutbench.cli.main import COMMANDS

    text = (ROOT / "docs" / "commands.md").read_text(encoding="utf-8")
    assert set(COMMANDS) <= set(re.findall(r"(?:\*\*|\[)`([a-z]+)`", text))


def fetches_nothing_from_elsewhere(site: Path) -> None:
    fetched = [
        (path.name, address)
        for path, page in pages_of(site)
        for address in page.xpath(
            "//script/@src | //img/@src | //link[not(@rel='canonical')]/@href | //iframe/@src"
        )
        if urlsplit(address).netloc
    ]
    assert fetched == []
    styles = "".join(path.read_text(encoding="utf-8") for path in site.rglob("*.css"))
    assert not re.search(r"(?:@import|url\()\s*[\"']?https?:", styles)


def every_link_and_anchor_leads_somewhere(site: Path) -> None:
    ids = {path: set(page.xpath("//@id | //a/@name")) for path, page in pages_of(site)}
    broken = []
    for path, page in pages_of(site):
        if path.name == "404.html":
            continue  # its addresses start at the root of a server
        for address in page.xpath("//a/@href | //img/@src"):
            parts = urlsplit(address)
            if parts.scheme in ("http", "https", "data"):
                continue
            target = (path.parent / unquote(parts.path)).resolve() if parts.path else path
            if target.is_dir():
                target /= "index.html"
            fragment = unquote(parts.fragment)
            if not target.is_file() or (fragment and fragment not in ids.get(target, set())):
                broken.append((str(path.relative_to(site)), address))
    assert broken == []


def formulas_are_marked_up_and_none_is_left_as_source(site: Path) -> None:
    count = 0
    for path, page in pages_of(site):
        count += len(page.xpath("//*[local-name()='math']"))
        assert not page.xpath("//*[contains(@class, 'arithmatex')]"), path.name
        assert not re.search(r"\\frac|\\begin", page.text_content()), path.name
    assert count > 50


def headings(page: Path) -> set[str]:
    """The anchors of a page's headings."""
    from markdown.extensions.toc import slugify

    text = re.sub(r"^```.*?^```", "", page.read_text(encoding="utf-8"), flags=re.M | re.S)
    titles = re.findall(r"^#+ (.*)$", text, re.M)
    return {slugify(re.sub(r"[`*$]", "", title), "-") for title in titles}


def test_every_link_between_files_of_the_project_leads_somewhere() -> None:
    broken = []
    for page in [*PAGES, ROOT / "CHANGELOG.md"]:
        text = page.read_text(encoding="utf-8")
        text = re.sub(r"^```.*?^```|`[^`\n]*`", "", text, flags=re.M | re.S)
        for address in re.findall(r"\]\(([^)\s]+)\)", text):
            parts = urlsplit(address)
            if parts.scheme:
                assert parts.scheme == "https", (page.name, address)
                continue
            target = (page.parent / parts.path).resolve() if parts.path else page
            if not target.exists() or (parts.fragment and parts.fragment not in headings(target)):
                broken.append((str(page.relative_to(ROOT)), address))
    assert broken == []


def plots_module() -> Any:
    spec = util.spec_from_file_location("plots", BUILDING / "plots.py")
    assert spec is not None
    assert spec.loader is not None
    module = util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


SVG = "{http://www.w3.org/2000/svg}"


def drawn(path: Path) -> dict[str, NDArray[np.float64]]:
    """The points of the data lines of a plot, by their mark, as shares of the box of its axes.

    How much room labels leave for the box depends on fonts and on matplotlib, and so does where
    a line that leaves the box is cut off.
    """
    lines = {}
    for axes in etree.parse(str(path)).iter(f"{SVG}g"):
        if not axes.get("id", "").startswith("axes_"):
            continue
        groups = list(axes.iter(f"{SVG}g"))
        box = points(next(each for each in groups if each.get("id", "").startswith("patch_")))
        corner, size = box.min(axis=0), np.ptp(box, axis=0)
        for group in groups:
            if group.get("id", "").startswith("data-"):
                lines[group.get("id")] = np.clip((points(group) - corner) / size, 0.0, 1.0)
    return lines


def points(group: Any) -> NDArray[np.float64]:
    """The points of the first path of a group in pixels, shape (n, 2)."""
    text = next(group.iter(f"{SVG}path")).get("d")
    numbers = re.findall(r"-?\d+(?:\.\d+)?(?:e-?\d+)?", text)
    return np.array(numbers, dtype=np.float64).reshape(-1, 2)


def test_each_line_of_the_eetf_ends_at_its_display() -> None:
    """At the peak's PQ signal, by colour-science: light drawn in the wrong unit shows no knee."""
    axes = plots_module().eetf().axes[0]
    peaks = (600.0, 400.0, 203.0, 100.0)
    for peak, line in zip(peaks, axes.lines, strict=False):
        signal = 100 * float(colour.models.eotf_inverse_ST2084(peak))
        assert line.get_ydata()[-1] == pytest.approx(signal, abs=0.01)


def test_the_plots_show_what_the_package_does_now(tmp_path: Path) -> None:
    module = plots_module()
    module.write(tmp_path)
    committed = {path.name for path in module.PLOTS.glob("*.svg")}
    assert committed == {path.name for path in tmp_path.iterdir()}
    for name in sorted(committed):
        before, now = drawn(module.PLOTS / name), drawn(tmp_path / name)
        assert before, name
        assert before.keys() == now.keys(), name
        for line in before:
            # A thousandth of the box is less than half a pixel.
            assert before[line] == pytest.approx(now[line], abs=1e-3), (name, line)


def every_plot_is_shown_and_has_words_for_who_cannot_see_it(site: Path) -> None:
    shown = {}
    for _, page in pages_of(site):
        for image in page.xpath("//img[contains(@src, 'plots/')]"):
            shown[Path(image.get("src")).name] = image.get("alt")
    assert set(shown) == {f"{name}.svg" for name in plots_module().PLOTTED}
    assert all(len(text) > 20 for text in shown.values())


def the_reference_holds_the_whole_python_face(site: Path) -> None:
    """Each name that `lutbench` gives has a place, with text under it and its parameters."""
    places = {
        place: page.get_element_by_id(place).getparent()
        for _, page in pages_of(site / "reference")
        for place in page.xpath("//@id")
        if place.startswith("lutbench.")
    }
    for name in set(lutbench.__all__) - {"__version__"}:
        value = getattr(lutbench, name)
        place = next(
            (each for each in (f"lutbench.{name}", f"{value.__module__}.{name}") if each in places),
            None,
        )
        assert place is not None, name
        text = " ".join(places[place].text_content().split())
        first = (value.__doc__ or "").split("\n\n")[0].split()
        assert re.sub(r"\W", "", "".join(first)) in re.sub(r"\W", "", text), name
        for parameter in inspect.signature(value).parameters:
            assert parameter in text, (name, parameter)


@pytest.mark.slow
def test_the_site(tmp_path: Path) -> None:
    # One test, so that tests that run side by side build the site once.
    site = built(tmp_path / "site")
    fetches_nothing_from_elsewhere(site)
    every_link_and_anchor_leads_somewhere(site)
    formulas_are_marked_up_and_none_is_left_as_source(site)
    the_reference_holds_the_whole_python_face(site)
    every_plot_is_shown_and_has_words_for_who_cannot_see_it(site)
