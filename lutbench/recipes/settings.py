"""The settings of a conversion made from names: one list for Python, commands and short texts.

`build` takes them as keywords, ``lutbench build`` as options, and the short form of a
pipeline ("ACEScct, ACEScg to BT.1886, BT.709; exposure=1") after a semicolon.
"""

from __future__ import annotations

import logging
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal, TypedDict

from lutbench.errors import DefinitionError, nearest_names

if TYPE_CHECKING:
    from lutbench.model.conversion import Kind
    from lutbench.model.signal import Range


class Choices(TypedDict, total=False):
    """The types of the settings but the two curves; `SETTINGS` says what each is for."""

    source_gamut: str
    target_gamut: str
    kind: Kind
    size: int
    exposure: float
    tone: str
    gamut: str
    adaptation: str
    source_range: Range
    target_range: Range
    source_display_peak: float
    target_display_peak: float
    measured_display: str
    dimensions: Literal[1, 3]
    title: str


class Settings(Choices, total=False):
    """The types of all settings."""

    source_curve: str
    target_curve: str


@dataclass(frozen=True)
class Setting:
    """One setting: its key in a recipe, its type, its default, what it is for, what it accepts.

    `key` is that of a LUT's table, with a dot between a table and its key. `default` None means
    that it follows from the others. An empty `accepted` takes anything; `placeholder` then
    stands for it in a help text. With `words` the setting is a table in one line of words.
    """

    name: str
    key: str
    type: type[str] | type[int] | type[float]
    default: Any
    says: str
    placeholder: str = "NAME"
    accepted: tuple[str, ...] = ()
    words: bool = False

    def value(self, text: str, where: str) -> Any:
        """The value that `text` gives.

        Raises
        ------
        DefinitionError
            When a number is wanted and the text is none.
        """
        try:
            return self.type(text)
        except ValueError:
            raise DefinitionError(
                f"{text!r} is not a number", where=f"{where}, {self.name}", accepted="a number"
            ) from None


GAMUT_METHODS = ("clip", "compress", "map")
"""What may become of colours outside the target gamut."""

_RANGES = ("full", "legal")

SETTINGS: tuple[Setting, ...] = (
    Setting("source_curve", "source.curve", str, "", "The curve of the recording."),
    Setting("source_gamut", "source.gamut", str, "", "The gamut of the recording."),
    Setting("target_curve", "target.curve", str, "", "The curve of the display or delivery."),
    Setting("target_gamut", "target.gamut", str, "", "The gamut of the display or delivery."),
    Setting(
        "kind",
        "kind",
        str,
        "combined",
        "What to convert: tone and gamut, tone alone, or the gamut alone.",
        accepted=("combined", "curve", "gamut"),
    ),
    Setting(
        "size",
        "size",
        int,
        None,
        "Nodes along an edge, 2 to 256. [default: 33; of a 1D LUT 1024 rows]",
        placeholder="N",
    ),
    Setting("exposure", "exposure", float, 0.0, "Stops brighter (or darker).", placeholder="STOPS"),
    Setting(
        "tone",
        "tone",
        str,
        "clip",
        "What becomes of light brighter than white; settings may follow, as in "
        '"shoulder contrast=1.2 on=largest". See `lutbench list tones`.',
        placeholder="METHOD",
        words=True,
    ),
    Setting(
        "gamut",
        "gamut",
        str,
        "clip",
        "Cut off colours outside the target gamut, compress them into it, or map them into it "
        'with their hue kept; settings may follow, as in "map knee=0.7".',
        placeholder="|".join(GAMUT_METHODS),
        words=True,
    ),
    Setting(
        "adaptation",
        "gamut.adaptation",
        str,
        None,
        "How one white is adapted to another. [default: bradford; to and from XYZ none]",
        accepted=("bradford", "cat02", "cat16", "none"),
    ),
    Setting(
        "source_range",
        "source.range",
        str,
        None,
        "Whether the values that the LUT takes are full-range or legal codes. "
        "[default: as the curve's codes are published]",
        accepted=_RANGES,
    ),
    Setting(
        "target_range",
        "target.range",
        str,
        None,
        "Whether the values that the LUT gives are full-range or legal codes. "
        "[default: as the curve's codes are published]",
        accepted=_RANGES,
    ),
    Setting(
        "source_display_peak",
        "source.display_peak",
        float,
        None,
        "The display that the source is seen on, by its peak in cd/m²: makes it display light.",
        placeholder="CD/M²",
    ),
    Setting(
        "target_display_peak",
        "target.display_peak",
        float,
        None,
        "The display that the result is seen on, by its peak in cd/m²: makes it display light.",
        placeholder="CD/M²",
    ),
    Setting(
        "measured_display",
        "target.measured",
        str,
        "",
        "A meter's readings of the display that the LUT goes to (CSV, see `lutbench display`): "
        "the result is calibrated for it.",
        placeholder="FILE",
    ),
    Setting(
        "dimensions",
        "dimensions",
        int,
        3,
        "A 3D LUT, or (kind curve only) a 1D LUT.",
        accepted=("1", "3"),
    ),
    Setting("title", "title", str, "", "The title in the file.", placeholder="TEXT"),
)

OLD_NAMES = {
    "source_peak": "source_display_peak",
    "target_peak": "target_display_peak",
}
"""What settings were called, and are called now."""

ENDS = ("source_curve", "source_gamut", "target_curve", "target_gamut")
"""The settings that name the two ends of a conversion."""


def with_defaults(given: Settings) -> dict[str, Any]:
    """Every setting, as given or by default.

    Raises
    ------
    LutbenchError
        For a setting that does not exist.
    """
    from lutbench.tables.lut import USUAL_SIZE

    for name in given:
        setting_named(name)
    values = {each.name: each.default for each in SETTINGS} | dict(given)
    if values["size"] is None:
        values["size"] = USUAL_SIZE if values["dimensions"] == 3 else 1024
    return values


def setting_named(name: str, where: str = "", among: tuple[Setting, ...] = ()) -> Setting:
    """The setting of a name, of some or of all; ``-`` counts as ``_``.

    Raises
    ------
    LutbenchError
        With the nearest names, when there is none.
    """
    plain, among = name.replace("-", "_"), among or SETTINGS
    if plain in OLD_NAMES:
        new = OLD_NAMES[plain]
        logging.getLogger("lutbench").warning("%s: %s is deprecated: write %s", where, plain, new)
        plain = new
    for each in among:
        if each.name == plain:
            return each
    names = [each.name for each in among]
    close = nearest_names(plain, names) or names
    raise DefinitionError(f"no option is named {plain!r}", where=where, accepted=", ".join(close))
