"""Percent of the nominal signal at every door: levels, card, inspect, false colour, zebra, verify.

100 (code − 64) / 876 of ten-bit legal codes (Recommendation ITU-R BT.709-6, item 5.6), against
the figures of colour-science: the curves of standards, and the IRE that registered encodings
give beside their code values.
"""

from __future__ import annotations

import inspect
from collections.abc import Callable
from functools import partial
from pathlib import Path

import colour
import numpy as np
import pytest
from click.testing import CliRunner

import lutbench
from lutbench.cli.main import group
from lutbench.exposure.levels import levels
from lutbench.formats.cube_write import write_cube
from lutbench.media.legend import _levels as legend_levels
from lutbench.model.catalogue import open_catalogue
from lutbench.model.false_colour import Band, FalseColour
from lutbench.model.gamuts import BT709
from lutbench.model.signal import Range
from lutbench.report.card import big_rows, card_html
from lutbench.tables.lut import Lut1D

pytestmark = pytest.mark.filterwarnings("ignore:.*encountered in:RuntimeWarning:colour")

KNOWN = open_catalogue(user=False)


def hlg(light: float) -> float:
    """Scene light with white at 75 % (BT.2408, table 1)."""
    scale = colour.models.oetf_inverse_BT2100_HLG(0.75)
    return float(colour.models.oetf_BT2100_HLG(light * scale))


# Signal of light; for those that publish legal codes, what they give for IRE.
SIGNALS: dict[str, Callable[[float], float]] = {
    "BT.709": colour.models.oetf_BT709,
    "BT.2100 HLG": hlg,
    "ACEScct": colour.models.log_encoding_ACEScct,
    **{
        name: partial(function, out_normalised_code_value=False)
        for name, function in list(colour.LOG_ENCODINGS.items())
        if "out_normalised_code_value" in inspect.signature(function).parameters
    },
}


# Every registered one stands in tests/model/test_codes.py.
@pytest.fixture(params=[*list(SIGNALS)[:3], *list(SIGNALS)[3::4]])
def name(request: pytest.FixtureRequest) -> str:
    return str(request.param)


def percent(name: str, light: float = 0.18) -> float:
    return 100 * float(SIGNALS[name](light))


def identity(name: str) -> Lut1D:
    """A LUT that changes nothing, over values as the encoding publishes them."""
    return Lut1D(np.repeat(np.linspace(0, 1, 1024)[:, None], 3, axis=1), title="as it is")


def test_levels_and_the_card(name: str) -> None:
    day = levels(KNOWN.curve(name))
    for light in (0.18, 0.36, 0.9):
        assert day.at(light).recorded.percent == pytest.approx(percent(name, light), abs=1e-3)
        # Percent of the signal of the legal code, and not of full scale.
        code = day.at(light).recorded.code(12, "legal")
        assert 100 * (code - 256) / 3504 == pytest.approx(percent(name, light), abs=0.02)
    rows = {row.label: row.before for row in big_rows(day)}
    assert rows["grey card"] == f"{percent(name):.0f} %"
    assert rows["white card"] == f"{percent(name, 0.9):.0f} %"
    assert f"{percent(name):.0f} %" in card_html(day)


@pytest.mark.parametrize(
    ("source", "told"),
    [
        ("legal", "black at 64 and nominal white at 940 in 10 bits"),
        ("full", "a legal-range signal has to be stretched before the LUT"),
    ],
)
def test_the_card_says_what_to_set_on_the_monitor(source: Range, told: str) -> None:
    day = levels(KNOWN.curve("ACEScct"), identity("ACEScct"), source_range=source)
    assert "Set the monitor so that the LUT gets" in card_html(day)
    assert told in card_html(day)


def test_zebra_advice_is_in_the_same_percent(name: str) -> None:
    day = levels(KNOWN.curve(name), zebra_min=30.0)
    lying = {"mid grey": 0.18, "light skin": 0.36, "white card": 0.9}
    marked = {each.subject: each for each in day.zebra.advice}
    for subject, light in lying.items():
        advice = marked[subject]
        assert advice.percent == pytest.approx(percent(name, light), abs=1e-3)
        if advice.setting is None:
            assert advice.percent < 30
            continue
        # The zebra of a camera, set so, marks the card: it starts at or under it.
        assert advice.setting.percent <= advice.percent + 1e-6
        assert f"{advice.percent:.0f} %" in advice.text
        reached = 100 * float(SIGNALS[name](advice.setting.reflectance))
        assert reached == pytest.approx(advice.setting.percent, abs=0.01)


def test_inspect_reads_before_and_after_in_the_same_percent(name: str) -> None:
    curve = KNOWN.curve(name)
    found = lutbench.inspect(identity(name), source_curve=curve, target_range=curve.formula_codes)
    data = found.to_data()
    card = next(each for each in data["box"]["levels"] if each["label"] == "grey card")
    # 1024 rows between which the straight line is all but exact.
    assert card["before_percent"] == pytest.approx(percent(name), abs=1e-3)
    assert card["after_percent"] == pytest.approx(percent(name), abs=1e-3)
    grey = next(each for each in data["levels"] if each["label"] == "mid grey")
    assert grey["percent"] == pytest.approx(percent(name), abs=1e-3)


def test_false_colour_marks_the_code_that_has_that_percent(name: str) -> None:
    """The band around mid grey lights up on the code that a waveform shows at its percent."""
    curve = KNOWN.curve(name)
    band = Band(-0.25, 0.25, "#ff8800", "grey card")
    task = FalseColour(curve, BT709, (band,), curve.formula_codes)
    signal = percent(name) / 100
    value = (64 + 876 * signal) / 1023 if curve.formula_codes == "legal" else signal
    shown = task.apply([[value] * 3])[0]
    assert shown == pytest.approx(np.array([0xFF, 0x88, 0x00]) / 255, abs=1e-6)
    ends = [percent(name, 0.18 * 2.0**stops) for stops in (-0.25, 0.25)]
    assert legend_levels(task, -0.25, 0.25) == f"{ends[0]:.0f} to {ends[1]:.0f} %"


def test_verify_checks_percent_of_the_nominal_signal(name: str, tmp_path: Path) -> None:
    """A file that says nothing and one whose comments say legal; full scale is another figure."""
    curve = KNOWN.curve(name)
    told = (
        f"source: curve {name}, {curve.formula_codes} range",
        f"target: curve {name}, {curve.formula_codes} range",
    )
    lut = identity(name)
    write_cube(Lut1D(lut.table, comments=told), tmp_path / "lut.cube")
    suite = tmp_path / "suite.toml"
    suite.write_text(
        f"""
[[check]]
name = "grey"
kind = "levels"
lut = "lut.cube"
source = {{ curve = "{name}", gamut = "BT.709" }}
points = [{{ stops = 0, percent = {percent(name):.6f}, within = 0.01 }}]
""",
        encoding="utf-8",
    )
    assert verified(suite) == 0
    if curve.formula_codes == "legal":
        wrong = 100 * (64 + 876 * percent(name) / 100) / 1023
        text = suite.read_text(encoding="utf-8").replace(f"{percent(name):.6f}", f"{wrong:.6f}")
        suite.write_text(text, encoding="utf-8")
        assert verified(suite) == 1


def verified(suite: Path) -> int:
    """The exit status of ``lutbench verify``."""
    result = CliRunner().invoke(group, ["verify", str(suite)], standalone_mode=False)
    assert result.exception is None, result.output
    return int(result.return_value)


def test_the_table_of_a_grey_card_is_computed() -> None:
    """docs/levels.md: zebra, waveform and 10-bit codes of a grey card for three standards."""
    page = (Path(__file__).parents[2] / "docs" / "levels.md").read_text(encoding="utf-8")
    for name in ("BT.709", "BT.2100 HLG", "ACEScct"):
        signal = percent(name) / 100
        legal, full = round(64 + 876 * signal), round(1023 * signal)
        row = next(line for line in page.splitlines() if line.startswith(f"| {name} |"))
        cells = [each.strip(" *") for each in row.strip("|").split("|")]
        assert cells[1:] == [
            f"{100 * signal:.0f} %",
            f"{100 * signal:.1f} %",
            str(legal),
            str(full),
        ]
