"""The settings of a conversion: one list for Python, the command line and pipelines in words.

`build` takes them as keywords, ``lutbench build`` as options, and a pipeline in words
("ACEScct, ACEScg to BT.1886, BT.709; exposure=1") after a semicolon.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal, TypedDict

from lutbench.errors import DefinitionError, nearest_names
from lutbench.given import as_written

if TYPE_CHECKING:
    from lutbench.model.conversion import Kind
    from lutbench.model.signal import Range


class Choices(TypedDict, total=False):
    """The types of the settings except the two curves; `SETTINGS` describes each."""

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
    """One setting: its key in a recipe, its type, default, help text and accepted values.

    `key` is the key in a LUT's table, with a dot between a table and its key. A `default` of
    None follows from other settings. With an empty `accepted` any value is accepted, and
    `placeholder` stands for it in help. With `words` the value is a table written in words.
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
        """`text` as a value of this setting's type.

        Raises DefinitionError when the setting is a number and `text` is not.
        """
        try:
            return as_written(text) if self.type is float else self.type(text)
        except ValueError:
            raise DefinitionError(
                f"{text!r} is not a number", where=f"{where}, {self.name}", accepted="a number"
            ) from None


GAMUT_METHODS = ("clip", "compress", "map")
"""The ways to treat colours outside the target gamut."""

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
        "What to convert: tone and gamut, the tone only, or the gamut only.",
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
        "How light brighter than white is treated; settings may follow, as in "
        '"shoulder contrast=1.2 on=largest". See `lutbench list tones`.',
        placeholder="METHOD",
        words=True,
    ),
    Setting(
        "gamut",
        "gamut",
        str,
        "clip",
        "Clip colours outside the target gamut, compress them into it, or map them into it at "
        'constant hue; settings may follow, as in "map knee=0.7".',
        placeholder="|".join(GAMUT_METHODS),
        words=True,
    ),
    Setting(
        "adaptation",
        "gamut.adaptation",
        str,
        None,
        "Chromatic adaptation between white points. [default: bradford; to and from XYZ none]",
        accepted=("bradford", "cat02", "cat16", "none"),
    ),
    Setting(
        "source_range",
        "source.range",
        str,
        None,
        "Whether the LUT's input values are full-range or legal-range codes. "
        "[default: as the curve's codes are published]",
        accepted=_RANGES,
    ),
    Setting(
        "target_range",
        "target.range",
        str,
        None,
        "Whether the LUT's output values are full-range or legal-range codes. "
        "[default: as the curve's codes are published]",
        accepted=_RANGES,
    ),
    Setting(
        "source_display_peak",
        "source.display_peak",
        float,
        None,
        "The peak of the display that the source is viewed on: the source is then display light.",
        placeholder="CD/M²",
    ),
    Setting(
        "target_display_peak",
        "target.display_peak",
        float,
        None,
        "The peak of the display that the result is viewed on: the result is then display light.",
        placeholder="CD/M²",
    ),
    Setting(
        "measured_display",
        "target.measured",
        str,
        "",
        "Meter readings of the display that the LUT is loaded into (CSV, see `lutbench display`): "
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

ENDS = ("source_curve", "source_gamut", "target_curve", "target_gamut")
"""The settings that name source and target of a conversion."""


def with_defaults(given: Settings) -> dict[str, Any]:
    """All settings, as given or by default; LutbenchError when a setting does not exist."""
    from lutbench.tables.lut import USUAL_SIZE

    for name in given:
        setting_named(name)
    values = {each.name: each.default for each in SETTINGS} | dict(given)
    if values["size"] is None:
        values["size"] = USUAL_SIZE if values["dimensions"] == 3 else 1024
    return values


def setting_named(name: str, where: str = "", among: tuple[Setting, ...] = ()) -> Setting:
    """The setting of that name, in `among` or in all; ``-`` counts as ``_``.

    Raises LutbenchError when there is none; the nearest names are listed.
    """
    plain, among = name.replace("-", "_"), among or SETTINGS
    for each in among:
        if each.name == plain:
            return each
    names = [each.name for each in among]
    close = nearest_names(plain, names) or names
    raise DefinitionError(f"no option is named {plain!r}", where=where, accepted=", ".join(close))
