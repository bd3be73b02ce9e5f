"""The picture of the bench: what the page draws is what `lut.apply` gives."""

from __future__ import annotations

from base64 import b64decode
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from lutbench.bench.contents import BenchSet, Item, Packer
from lutbench.bench.stills import BenchStill, png_of_codes
from lutbench.bench.tabulated import tabulated
from lutbench.bench.views import label_of, view_data
from lutbench.media.subjects import photograph_light, recorded
from lutbench.model.catalogue import open_catalogue
from lutbench.model.conversion import Conversion, Encoding
from lutbench.model.curves.base import Decode, Encode
from lutbench.model.false_colour import Band, FalseColour, default_bands
from lutbench.model.grade import Cdl, Exposure
from lutbench.model.signal import SignalFromRange
from lutbench.model.tone.shoulder import ToneCurve
from lutbench.model.transforms import Clamp, Matrix, Pipeline
from lutbench.tables.lut import Lut1D, Lut3D
from lutbench.tables.nodes import sample, sample_1d, sample_behind
from lutbench.tables.shaping import Span, shaper_of

pytestmark = pytest.mark.browser

# Rounding to 8 bits moves a value by half a code, the table's 16-bit steps and float32
# by far less than another half: the page and the library are at most one code apart.
ONE_CODE = 1


KNOWN = open_catalogue(user=False)
SOURCE = Encoding(KNOWN.curve("ACEScct"), KNOWN.gamut("ACES AP1"))
SDR = Encoding(KNOWN.curve("BT.1886"), KNOWN.gamut("BT.709"))
HDR = Encoding(KNOWN.curve("BT.2100 PQ"), KNOWN.gamut("BT.2020"))
BANDS = FalseColour(
    SOURCE.curve,
    SOURCE.gamut,
    (
        *default_bands(5.0),
        *(Band(low / 20 - 5, (low + 1) / 20 - 5, f"#{10 * low:02x}40c0") for low in range(25)),
    ),
    exposure=0.5,
)
"""Thirty bands, one of them for what clips."""
LUMA = np.array([0.2126, 0.7152, 0.0722])  # Recommendation ITU-R BT.709-6, item 3.2


def conversion(**changes: Any) -> Pipeline:
    tone = ToneCurve.between(SOURCE, SDR, 0.0)
    return replace(Conversion(SOURCE, SDR, tone=tone), **changes).pipeline()


def luts() -> dict[str, Any]:
    task = conversion()
    wide = np.linspace(-0.1, 1.2, 33)
    nodes = np.stack(np.meshgrid(wide, wide, wide, indexing="ij"), axis=-1)
    curve = KNOWN.curve("sRGB")
    return {
        "17": sample(task, 17),
        "33": sample(task, 33),
        "65": sample(task, 65),
        "domain": Lut3D(task.apply(nodes), [[-0.1] * 3, [1.2] * 3]),
        "domain by channel": Lut3D(sample(task, 21).table, [[0.0, 0.05, -0.2], [0.9, 1.0, 1.1]]),
        "shaper": sample_behind(task, shaper_of(curve, Span(0.0, 1.5, 4096)), 33),
        "1D": sample_1d(conversion(kind="curve"), 5000),
        "legal": sample(conversion(target=replace(SDR, range="legal")), 33),
        "hdr": sample(conversion(target=HDR, tone=None), 33),
        "nothing": Lut3D.identity(2),
    }


SLOW = ("33", "65", "nothing", "1D", "domain", "domain by channel")
"""Of these: those that the slow tests look at."""
SHOWN_AS_IT_IS = (
    "17", "33", "65", "domain", "domain by channel", "shaper", "1D",
    "nothing",
)  # fmt: skip


@pytest.fixture(scope="module")
def codes() -> Any:
    """The log photograph, 16-bit codes."""
    codes = np.round(recorded(photograph_light(), SOURCE) * 65535).astype(np.uint16)
    codes[8:24, 8:24, 0] = 65535  # one channel clips
    return codes


@pytest.fixture(scope="module")
def part(codes: Any) -> Any:
    """Every fourth pixel of it."""
    return codes[::4, ::4].copy()


@pytest.fixture(scope="module")
def tables() -> dict[str, Any]:
    return luts()


@pytest.fixture(scope="module")
def module_page(opened: Callable[..., Any], tables: dict[str, Any], codes: Any, part: Any) -> Any:
    ends = {"legal": replace(SDR, range="legal"), "hdr": HDR}
    items = tuple(
        Item(
            name,
            name,
            lut,
            SOURCE,
            end := ends.get(name),
            target_range=end.range if end else "full",
        )
        for name, lut in tables.items()
    )
    stills = (
        BenchStill("whole", "a photograph", png_of_codes(codes)),
        BenchStill("part", "a part of it", png_of_codes(part)),
    )
    return opened(BenchSet("Test", items, SOURCE, "in a test", BANDS, stills))


@pytest.fixture
def page(module_page: Any) -> Any:
    module_page.start_over()
    return module_page


@pytest.mark.parametrize(
    "name",
    [pytest.param(each, marks=[pytest.mark.slow] * (each in SLOW)) for each in SHOWN_AS_IT_IS],
)
def test_a_whole_photograph_within_one_code(
    page: Any, tables: dict[str, Any], codes: Any, name: str
) -> None:
    page.set(lut=name)
    shown = page.pixels()
    assert shown.shape == codes.shape
    wanted = np.clip(tables[name].apply(codes / 65535), 0, 1) * 255
    assert np.abs(shown - wanted).max() <= ONE_CODE


@pytest.mark.parametrize("name", ["17", "domain by channel", "shaper"])
def test_trilinear_as_the_library_interpolates(
    page: Any, tables: dict[str, Any], part: Any, name: str
) -> None:
    page.set(still="part", lut=name, interpolation="trilinear")
    lut = tables[name]
    straight = (
        replace(lut, lut=replace(lut.lut, interpolation="trilinear"))
        if name == "shaper"
        else replace(lut, interpolation="trilinear")
    )
    wanted = straight.apply(part / 65535)
    assert np.abs(page.pixels() - 255 * np.clip(wanted, 0, 1)).max() <= ONE_CODE
    # The figures, in double precision: the page's table is off by half a 16-bit step.
    page.set(x=7, y=5)
    after = page.view.evaluate("lutbench.bench.probe(7, 5).after.map((each) => each.signal)")
    np.testing.assert_allclose(after, wanted[5, 7], atol=2e-5)
    assert np.abs(wanted - lut.apply(part / 65535)).max() > 1e-3


def test_a_legal_lut_is_shown_as_its_signal(page: Any, tables: Any, part: Any) -> None:
    page.set(still="part", lut="legal")
    signal = SignalFromRange("legal").apply(tables["legal"].apply(part / 65535))
    assert np.abs(page.pixels() - 255 * np.clip(signal, 0, 1)).max() <= ONE_CODE


@pytest.mark.parametrize("stops", [-2.3, 1.0])
def test_exposure_works_in_light(page: Any, part: Any, stops: float) -> None:
    curve = SOURCE.curve
    page.set(still="part", lut="nothing", stops=stops)
    steps = (Decode(curve), Exposure(stops), Encode(curve), Clamp(0.0, 1.0))
    assert np.abs(page.pixels() - 255 * Pipeline(steps).apply(part / 65535)).max() <= ONE_CODE


def test_two_pictures_and_their_difference(page: Any, tables: Any, part: Any) -> None:
    page.set(still="part", lut="17", look="beside", against="")
    after, before = 255 * tables["17"].apply(part / 65535), part / 257
    both = page.pixels()
    axis = 0 if both.shape[0] > part.shape[0] else 1
    assert np.abs(both - np.concatenate([after, before], axis=axis)).max() <= ONE_CODE
    page.set(look="wipe", wipe=0.2)
    at = part.shape[1] // 5
    wiped = np.concatenate([after[:, :at], before[:, at:]], axis=1)
    assert np.abs(page.pixels() - wiped).max() <= ONE_CODE
    page.set(look="difference", gain=4)
    difference = np.clip(127.5 + 4 * (after - before), 0, 255)
    assert np.abs(page.pixels() - difference).max() <= ONE_CODE
    page.view.evaluate("lutbench.bench.swapped = true")
    assert np.abs(page.pixels() - before).max() <= ONE_CODE


def test_false_colour_as_the_library_paints_it(page: Any, part: Any) -> None:
    page.set(still="part", bands=True)
    off = np.abs(page.pixels() - 255 * BANDS.apply(part / 65535)).max(axis=-1) > ONE_CODE
    # A pixel on the very edge of a band may fall on either side of it.
    edges = [edge for band in BANDS.bands for edge in (band.low, band.high)]
    stops = BANDS.stops(part / 65535)
    assert BANDS.clipped(part / 65535).any()
    near = np.min([np.abs(stops - edge) for edge in edges], axis=0) < 1e-4
    assert not (off & ~near).any()


@pytest.mark.parametrize("on", ["recording", "view"])
def test_a_zebra_stands_where_luma_is_over_its_percent(
    page: Any, tables: Any, part: Any, on: str
) -> None:
    page.set(still="part", lut="17")
    plain = page.pixels()
    page.set(zebra=on, zebraAt=50)
    striped = (page.pixels() != plain).any(axis=-1)
    signal = part / 65535 if on == "recording" else tables["17"].apply(part / 65535)
    over = signal @ LUMA >= 0.5
    assert not (striped & ~over).any()
    # Half of the stripes' period is painted over.
    assert 0.35 < striped[over].mean() < 0.65


def test_an_hdr_view_is_tone_mapped_and_said_to_be(page: Any, tables: Any, part: Any) -> None:
    page.set(still="part", lut="hdr")
    table = view_data(HDR)["lattice"]["table"]
    steps = np.frombuffer(b64decode(table["data"]), "<u2").reshape(33, 33, 33, 3)
    view = Lut3D(table["low"] + steps / 65535 * (table["high"] - table["low"]))
    wanted = 255 * view.apply(tables["hdr"].apply(part / 65535))
    assert np.abs(page.pixels() - wanted).max() <= ONE_CODE
    page.wait(
        "(label) => document.querySelector('p.caption').textContent.includes(label)", label_of(HDR)
    )


@pytest.mark.slow
def test_a_large_lattice_in_half_floats(opened: Callable[..., Any], codes: Any) -> None:
    lut = sample(conversion(), 100)
    still = BenchStill("whole", "a photograph", png_of_codes(codes))
    bench = BenchSet("Test", (Item("lut", "a LUT", lut, SOURCE),), SOURCE, "told", None, (still,))
    # Half floats near 1 are 1/2048 apart: an eighth of an 8-bit code, beside the rounding.
    off = opened(bench).pixels() - 255 * np.clip(lut.apply(codes / 65535), 0, 1)
    assert np.abs(off).max() <= ONE_CODE


def test_a_chain_keeps_its_corners_sharp() -> None:
    """What clips at a curve's end or at the last step: the clamp of a CDL, a matrix after a log."""
    log = Lut1D(np.linspace(0, 1, 1024)[:, None].repeat(3, 1) ** 0.4)
    matrix = Matrix(np.array([[1.6, -0.5, -0.1], [-0.1, 1.2, -0.1], [0.0, -0.1, 1.1]]))
    graded = Cdl((1.4, 1.2, 1.1), (-0.05, 0.0, 0.02), (1.1, 1.0, 0.9), 1.2)
    colours = np.random.default_rng(6).random((4096, 3))
    for chain in (graded, Pipeline((log, matrix, Clamp(0.0, 1.0)))):
        told = tabulated(chain)
        assert told.held == (0.0, 1.0)
        found = np.clip(told.table.apply(colours), *told.held)
        # Straight between 16385 rows; sampled on a lattice alone it is 5 and 43 codes off.
        assert 1023 * np.abs(found - chain.apply(colours)).max() < 0.05


@pytest.mark.slow
def test_what_a_chain_is_held_to_is_drawn(opened: Callable[..., Any], part: Any) -> None:
    graded = Cdl((1.4, 1.2, 1.1), (-0.05, 0.0, 0.02), (1.1, 1.0, 0.9), 1.4)
    still = BenchStill("part", "a photograph", png_of_codes(part))
    page = opened(BenchSet("Test", (Item("cdl", "c", graded, SOURCE),), SOURCE, stills=(still,)))
    wanted = graded.apply(part / 65535)
    assert np.abs(page.pixels() - 255 * wanted).max() <= ONE_CODE
    y, x = np.unravel_index(int(wanted.max(axis=-1).argmax()), wanted.shape[:2])
    after = page.view.evaluate("([x, y]) => lutbench.bench.probe(x, y).after", [int(x), int(y)])
    assert max(each["signal"] for each in after) == 1.0


def test_a_chain_of_steps_is_sampled_and_says_by_how_much_it_is_off() -> None:
    chain = conversion()
    data = Packer().data(BenchSet("Test", (Item("chain", "a chain", chain, SOURCE),), SOURCE))
    entry = data["luts"][0]
    table = tabulated(chain)
    assert entry["sampling_error"] == table.error
    colours = np.random.default_rng(5).random((4096, 3))
    off = 1023 * np.abs(table.table.apply(colours) - chain.apply(colours)).max()
    # Other colours than those tried: the same size of error, not the same number.
    assert 0.3 < off / entry["sampling_error"] < 3


def test_no_console_message_was_printed(module_page: Any) -> None:
    assert module_page.said == []
    assert module_page.asked == [module_page.address]
