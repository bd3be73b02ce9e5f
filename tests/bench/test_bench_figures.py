"""The figures of the bench: a probed level reads as in `levels`, scopes count as numpy does."""

from __future__ import annotations

from base64 import b64decode
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from lutbench.bench.contents import BenchSet, Item
from lutbench.bench.stills import BenchStill, png_of_codes
from lutbench.exposure.levels import levels
from lutbench.media.subjects import photograph_light, recorded
from lutbench.model.catalogue import open_catalogue
from lutbench.model.conversion import Encoding
from lutbench.model.signal import RangeFromSignal
from lutbench.recipes.make import build

pytestmark = pytest.mark.browser

KNOWN = open_catalogue(user=False)
SOURCE = Encoding(KNOWN.curve("ACEScct"), KNOWN.gamut("ACES AP1"))
LEGAL = Encoding(KNOWN.curve("ACEScct"), KNOWN.gamut("ACES AP1"), "legal")
# A curve whose source publishes legal codes: its signal goes from under 0 % to over 100 %.
CODED = Encoding(
    replace(KNOWN.curve("ACEScct"), name="coded", formula_codes="legal"), KNOWN.gamut("ACES AP1")
)
ENDS = {"source_gamut": "ACES AP1", "target_gamut": "BT.709"}
LUMA = np.array([0.2126, 0.7152, 0.0722])

# A level is written into the still in 16-bit steps: 1/65535 of signal, 100/65535 percent;
# a LUT's steepest slope here is under 6.
PERCENT = 100 / 65535
SLOPE = 6.0


def level_still(source: Encoding) -> BenchStill:
    """A patch of four pixels a side for each level of the curve that is recorded."""
    signals = [each.recorded.held for each in levels(source.curve).levels]
    values = RangeFromSignal(source.range).apply(np.repeat(np.array(signals)[:, None], 3, 1))
    patches = np.repeat(np.repeat(values[None], 4, axis=0), 4, axis=1)
    return BenchStill("levels", "a test", png_of_codes(np.round(patches * 65535).astype(np.uint16)))


@pytest.mark.parametrize("source", [SOURCE, LEGAL, CODED], ids=["full", "legal", "coded"])
def test_a_probed_level_reads_as_in_levels(opened: Any, source: Encoding) -> None:
    span = source.range
    lut = build("ACEScct", "BT.1886", **ENDS, source_range=span, target_range=span, size=17)
    item = Item("lut", "a LUT", lut, source, source_range=span, target_range=span)
    page = opened(BenchSet("Test", (item,), source, "in a test", stills=(level_still(source),)))
    day = levels(source.curve, lut, source_range=span, target_range=span)
    page.view.evaluate("lutbench.bench.engine.draw(lutbench.bench.scene())")
    clipped = 0
    for number, level in enumerate(day.levels):
        probe = page.view.evaluate("(x) => lutbench.bench.probe(x, 2)", 4 * number + 2)
        assert level.after_lut is not None
        for reading in probe["recorded"]:
            assert reading["percent"] == pytest.approx(level.recorded.percent, abs=PERCENT)
        for reading, wanted in zip(probe["after"], level.after_lut.rgb, strict=True):
            assert reading["signal"] == pytest.approx(wanted, abs=SLOPE * PERCENT / 100)
        check_codes(probe["recorded"][1], level.recorded.to_data(), PERCENT / 100)
        check_codes(probe["after"][1], level.after_lut.to_data(), SLOPE * PERCENT / 100)
        clipped += level.clipped != ""
        if level.reflectance > 0 and not level.clipped:
            # What half a step of 16 bits is in stops, where the curve is flat near black.
            near = source.curve.decode(level.recorded.signal + np.array([-1, 1]) / 65535)
            slack = abs(np.log2(max(near[1], 1e-9) / max(near[0], 1e-9)))
            assert probe["stops"] == pytest.approx(level.stops, abs=slack + 1e-3)
            if slack < 0.1 and level.label[0] not in "+-":
                assert probe["nearest"]["level"]["label"] == level.label
    assert len(day.levels) > 15


def check_codes(reading: dict[str, Any], wanted: dict[str, Any], off: float) -> None:
    """The same codes; the next one only where the level lies as near to the edge between them."""
    for name in ("full", "legal"):
        for bits, code in wanted["code"][name].items():
            got = reading["code"][name][bits]
            held = wanted["percent"] / 100
            unit = 2 ** (int(bits) - 8)
            span = 2 ** int(bits) - 1 if name == "full" else 219 * unit
            exact = held * span + (0 if name == "full" else 16 * unit)
            edge = abs((exact % 1) - 0.5) <= off * span
            assert got == code or (edge and abs(got - code) == 1)


def test_a_reading_is_that_of_the_library(opened: Any) -> None:
    """The same signals without a picture between: equal to the last digit."""
    from lutbench.exposure.reading import Reading

    item = Item("lut", "a LUT", build("ACEScct", "BT.1886", **ENDS, size=5), SOURCE)
    page = opened(BenchSet("Test", (item,), SOURCE, "in a test", stills=(level_still(SOURCE),)))
    signals = np.random.default_rng(4).uniform(-0.2, 1.2, 200).tolist()
    ends = CODED.curve.ends
    read = "([all, ends]) => all.map((signal) => lutbench.readingOf(signal, ends))"
    got = page.view.evaluate(read, [signals, list(ends)])
    for signal, reading in zip(signals, got, strict=True):
        wanted = Reading(signal, low=ends[0], high=ends[1]).to_data()
        assert reading["percent"] == pytest.approx(wanted["percent"], abs=1e-12)
        assert reading["code"] == wanted["code"]


@pytest.fixture(scope="module")
def photographed(opened: Any) -> tuple[Any, Any, Any]:
    """A page with a photograph in whole 8-bit codes, its codes, and its LUT."""
    values = recorded(photograph_light()[::3, ::3], SOURCE)
    codes = np.round(values * 255).astype(int)
    still = BenchStill("still", "a test", png_of_codes((codes * 257).astype(np.uint16)))
    lut = build("ACEScct", "BT.1886", **ENDS, size=33)
    item = Item("lut", "a LUT", lut, SOURCE)
    page = opened(BenchSet("Test", (item,), SOURCE, "in a test", stills=(still,)))
    return page, codes, lut


def counts(page: Any, scope: str) -> Any:
    """Counts of a scope, (levels, columns, R G B luma)."""
    columns, text = page.view.evaluate(
        """(scope) => {
          const {engine} = lutbench.bench;
          engine.draw(lutbench.bench.scene());
          const {columns, counts} = engine.scopes.numbers(scope, engine.measured());
          const bytes = new Uint8Array(counts.buffer);
          let text = "";
          for (let at = 0; at < bytes.length; at += 32768)
            text += String.fromCharCode(...bytes.subarray(at, at + 32768));
          return [columns, btoa(text)];
        }""",
        scope,
    )
    return np.frombuffer(b64decode(text), "<f4").reshape(-1, columns, 4)


def test_waveform_columns_are_numpys_histograms(photographed: Any) -> None:
    page, codes, _ = photographed
    page.set(lut="", scopes=[], stops=0)
    got = counts(page, "waveform")
    height, width, _ = codes.shape
    assert got.shape == (256, width, 4)
    for column in range(width):
        for channel in range(3):
            wanted = np.bincount(codes[:, column, channel], minlength=256)
            np.testing.assert_array_equal(got[:, column, channel], wanted)
    # Luma falls between codes: a pixel on the very edge of a level may go to either side.
    luma = np.floor(codes @ LUMA + 0.5).astype(int)
    edge = np.abs((codes @ LUMA) % 1 - 0.5) < 1e-3
    wanted = np.stack([np.bincount(luma[:, x], minlength=256) for x in range(width)], axis=1)
    assert np.abs(got[..., 3] - wanted).sum() <= 2 * edge.sum()
    assert got[..., 3].sum() == height * width


def test_the_parade_and_the_histogram_count_the_same(photographed: Any) -> None:
    page, codes, _ = photographed
    page.set(lut="", scopes=[], stops=0)
    whole = counts(page, "histogram")
    assert whole.shape == (256, 1, 4)
    for channel in range(3):
        wanted = np.bincount(codes[..., channel].ravel(), minlength=256)
        np.testing.assert_array_equal(whole[:, 0, channel], wanted)
    np.testing.assert_array_equal(counts(page, "parade"), counts(page, "waveform"))


def test_scopes_measure_after_the_lut_and_the_exposure(photographed: Any) -> None:
    page, codes, lut = photographed
    page.set(lut="lut", scopes=[], stops=0)
    after = 255 * lut.apply(codes / 255)
    got = counts(page, "histogram")[:, 0, :3]
    wanted = np.stack(
        [np.bincount(np.floor(after[..., c] + 0.5).astype(int).ravel(), minlength=256)
         for c in range(3)], axis=1)  # fmt: skip
    # 16-bit steps of the table move a value by 0.002 codes: few pixels stand so near an edge.
    assert np.abs(got - wanted).sum() <= 0.02 * after.size
    page.set(stops=-1)
    assert (counts(page, "histogram")[:, 0, 1] * np.arange(256)).sum() < (
        got[:, 1] * np.arange(256)
    ).sum()


def test_of_two_pictures_either_is_measured(photographed: Any) -> None:
    page, codes, _ = photographed
    page.set(lut="lut", against="", look="wipe", measured="second", scopes=["waveform"], stops=0)
    recorded_counts = np.bincount(codes[..., 1].ravel(), minlength=256)
    np.testing.assert_array_equal(counts(page, "histogram")[:, 0, 1], recorded_counts)
    page.set(measured="first")
    assert (counts(page, "histogram")[:, 0, 1] != recorded_counts).any()
    page.set(lut="", against="lut", measured="second")
    second = counts(page, "histogram")
    page.set(lut="lut", against="", look="one", measured="first")
    np.testing.assert_array_equal(second, counts(page, "histogram"))


def test_the_vectorscope_counts_chroma(photographed: Any) -> None:
    page, codes, _ = photographed
    page.set(lut="", scopes=[], stops=0)
    got = counts(page, "vectorscope")[..., 0]
    signal = codes / 255
    luma = signal @ LUMA
    # Recommendation ITU-R BT.709-6, item 3.3.
    cb, cr = (signal[..., 2] - luma) / 1.8556, (signal[..., 0] - luma) / 1.5748
    places = [128 + 254 * chroma for chroma in (cb, cr)]
    bins = [np.clip(np.floor(place + 0.5), 0, 255).astype(int) for place in places]
    wanted = np.zeros((256, 256))
    np.add.at(wanted, (bins[1].ravel(), bins[0].ravel()), 1)
    assert got.sum() == wanted.sum()
    # A pixel on the very edge between two bins may go to either.
    edge = np.any([np.abs(place % 1 - 0.5) < 1e-3 for place in places], axis=0)
    assert np.abs(got - wanted).sum() <= 2 * edge.sum()


def test_painted_scopes_show_where_the_counts_are(photographed: Any) -> None:
    page, _, _ = photographed
    page.set(lut="", scopes=["waveform", "parade", "vectorscope", "histogram"])
    page.wait(
        """() => {
          const canvases = [...document.querySelectorAll('.scope canvas')];
          const lit = canvases.map((canvas) => {
            const {data} = canvas.getContext('2d').getImageData(0, 0, canvas.width, canvas.height);
            let count = 0;
            for (let at = 0; at < data.length; at += 4) count += data[at] > 60 ? 1 : 0;
            return count / (data.length / 4);
          });
          return lit.length === 4 && lit.every((share) => share > 0.001 && share < 0.9);
        }"""
    )


def test_the_reads_of_a_pixel_are_told(photographed: Any) -> None:
    page, _, _ = photographed
    page.set(lut="lut", scopes=[], stops=1)
    # Exposing 1 + 3, the lattice 1 + 4, showing 1.
    page.wait("document.querySelector('#trust').textContent.includes('reads 10 texels')")
    page.set(interpolation="trilinear")
    page.wait("document.querySelector('#trust').textContent.includes('reads 14 texels')")
    page.wait(
        "document.querySelector('#trust').textContent.includes('tetrahedral interpolation differs')"
    )
