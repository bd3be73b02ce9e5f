"""HDR shown as such: the light of the display on a canvas brighter than white, where there is one.

A browser of its own, started for a screen of high range, with WebGPU in software.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest
from bench_browser import CHROMIUM, FLAGS, Opened

from lutbench.bench.contents import BenchSet, Item, Packer
from lutbench.bench.page import page_html
from lutbench.bench.stills import BenchStill, png_of_codes
from lutbench.bench.views import label_of, view_data
from lutbench.measure.delta_e import view_of
from lutbench.model.catalogue import open_catalogue
from lutbench.model.conversion import Encoding
from lutbench.model.gamuts import BT709, conversion
from lutbench.model.light import REFERENCE_WHITE_CD_M2, Display
from lutbench.tables.lut import Lut3D

pytestmark = [pytest.mark.browser, pytest.mark.slow]

KNOWN = open_catalogue(user=False)
SOURCE = Encoding(KNOWN.curve("ACEScct"), KNOWN.gamut("ACES AP1"))
BT2020 = KNOWN.gamut("BT.2020")
ENDS = {
    "pq": Encoding(KNOWN.curve("BT.2100 PQ"), BT2020),
    "hlg": Encoding(KNOWN.curve("BT.2100 HLG"), BT2020),
    "hlg of 600": Encoding(
        KNOWN.curve("BT.2100 HLG"), BT2020, display=Display(600.0, surround=20.0)
    ),
}

HDR_FLAGS = (
    "--force-color-profile=hdr10 --enable-unsafe-webgpu --use-webgpu-adapter=swiftshader "
    "--enable-features=Vulkan --use-vulkan=swiftshader"
)

# The canvas holds half floats, whose steps are 2^-11 of a value; the straight lines between
# the 4097 values of a curve are off by less than one of these.
HALF_STEP = 2.0**-11

# A canvas of WebGPU can be read until the browser has taken its picture: in the same task.
READ = """() => {
  const {bench} = lutbench;
  bench.engine.draw(bench.scene());
  const {halves, width, height} = bench.engine.lightShown();
  bench.hdr.show(halves, width, height);
  const plain = new OffscreenCanvas(width, height);
  const context = plain.getContext("2d", {colorType: "float16", colorSpace: "srgb"});
  context.drawImage(document.querySelector(".over"), 0, 0);
  const kind = {pixelFormat: "rgba-float16"};
  return [...context.getImageData(0, 0, width, height, kind).data];
}"""


def extended(light: Any) -> Any:
    """IEC 61966-2-1, mirrored about 0 and continued over 1."""
    size = np.abs(light)
    curved = 1.055 * np.maximum(size, 1e-9) ** (1 / 2.4) - 0.055
    return np.sign(light) * np.where(size <= 0.0031308, 12.92 * size, curved)


@pytest.fixture(scope="module")
def signals() -> Any:
    """Greys from black to the peak, then random colours; in 16-bit codes."""
    picture = np.random.default_rng(6).random((8, 64, 3))
    picture[0] = np.linspace(0, 1, 64)[:, None]
    return np.round(picture * 65535).astype(np.uint16)


@pytest.fixture(scope="module")
def page(playwright_: Any, signals: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    if CHROMIUM is None:
        pytest.skip("no Chromium is installed")
    items = [Item(name, name, Lut3D.identity(2), SOURCE, end) for name, end in ENDS.items()]
    items.append(Item("sdr", "sdr", Lut3D.identity(2), SOURCE))
    still = BenchStill("signals", "a test", png_of_codes(signals))
    bench = BenchSet("Test", tuple(items), SOURCE, stills=(still,))
    file = tmp_path_factory.mktemp("hdr") / "bench.html"
    file.write_text(page_html(Packer().data(bench)), encoding="utf-8")
    browser = playwright_.chromium.launch(
        executable_path=CHROMIUM, args=[*FLAGS.split(), *HDR_FLAGS.split()]
    )
    page = Opened(browser, file.as_uri())
    if not page.view.evaluate("async () => Boolean(await navigator.gpu?.requestAdapter())"):
        browser.close()
        pytest.skip("this browser has no WebGPU, so no HDR canvas")
    page.wait("lutbench.bench.hdrAble()")
    yield page
    assert page.said == []
    browser.close()


@pytest.mark.parametrize("name", list(ENDS))
def test_the_canvas_holds_the_light_of_the_display(page: Any, signals: Any, name: str) -> None:
    page.set(lut=name, look="one", hdr=True)
    page.wait("!document.querySelector('.over').hidden")
    got = np.array(page.view.evaluate(READ)).reshape(*signals.shape[:2], 4)[..., :3]
    seen = view_of(ENDS[name])
    light = seen.light(signals / 65535) * seen.white_luminance / REFERENCE_WHITE_CD_M2
    wanted = extended(conversion(BT2020, BT709).apply(light))
    assert wanted.max() > 1.5
    # Near no light the curve is steep: what is off there is told in light, not in signal.
    np.testing.assert_allclose(got[0], wanted[0], rtol=2 * HALF_STEP, atol=2 * HALF_STEP)
    off = np.abs(got - wanted) - 2 * HALF_STEP * np.abs(wanted)
    assert np.percentile(off, 99) < 2 * HALF_STEP
    in_light = np.abs(np.abs(got) ** 2.4 - np.abs(wanted) ** 2.4)
    assert in_light.max() < 8 * HALF_STEP * max(1.0, float(np.abs(wanted).max()) ** 2.4)


def test_it_is_said_how_hdr_is_shown(page: Any) -> None:
    caption = "document.querySelector('p.caption').textContent"
    page.set(lut="pq", look="one", hdr=True)
    page.wait(f"{caption}.includes('HDR shown as HDR')")
    page.set(hdr=False)
    page.wait(f"(label) => {caption}.includes(label)", label_of(ENDS["pq"]))
    assert page.view.evaluate("document.querySelector('.over').hidden")
    page.set(hdr=True, look="difference", against="sdr")
    page.wait("document.querySelector('.over').hidden")
    page.set(look="one", lut="sdr")
    page.wait("document.querySelector('.over').hidden")


def test_beside_hdr_standard_range_ends_at_white(page: Any, signals: Any) -> None:
    page.set(lut="pq", against="sdr", look="wipe", wipe=0.5, hdr=True)
    page.wait("!document.querySelector('.over').hidden")
    got = np.array(page.view.evaluate(READ)).reshape(*signals.shape[:2], 4)[..., :3]
    right = signals[:, 32:] / 65535
    np.testing.assert_allclose(got[:, 32:], right, atol=2 * HALF_STEP)
    assert got[0, 31].max() > 0.5


def test_the_light_that_the_page_calculates_is_the_librarys() -> None:
    """Without a browser: the table, the power and the matrix give what `view_of` gives."""
    signal = np.random.default_rng(7).random((500, 3))
    for end in ENDS.values():
        from test_bench_sets import unpacked

        told = view_data(end)["light"]
        table = unpacked(told["table"])
        plain = np.interp(signal, np.linspace(0, 1, len(table)), table)
        weighed = (plain @ np.array(told["weights"]))[:, None] ** told["power"]
        got = (plain * weighed) @ np.array(told["matrix"]).T
        seen = view_of(end)
        light = seen.light(signal) * seen.white_luminance / REFERENCE_WHITE_CD_M2
        wanted = conversion(BT2020, BT709).apply(light)
        assert np.abs(got - wanted).max() < 1e-4 * np.abs(wanted).max()
