"""A conversion computed by colour-science alone, as an independent reference.

Only names come from `lutbench.model`: curves come from colour-science's registries and
functions, gamuts from its colour spaces, the matrix and adaptation from its own derivation.
"""

from __future__ import annotations

import inspect
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Any, ClassVar

import numpy as np

from lutbench.errors import DefinitionError, LutbenchError
from lutbench.foreign import foreign
from lutbench.model.catalogue import Catalogue
from lutbench.model.transforms import Array, Transform
from lutbench.recipes.subjects import quick_settings

Function = Callable[[Any], Any]

HDR_WHITE_CD_M2 = 203.0
"""cd/m² of scene light 1.0: Report ITU-R BT.2408, table 1."""

HLG_WHITE_SIGNAL = 0.75
"""The HLG signal of scene light 1.0: Report ITU-R BT.2408, table 1."""

# Short names of gamuts, and the names of the same gamuts in colour-science.
SPACES = {
    "BT.709": "ITU-R BT.709",
    "BT.2020": "ITU-R BT.2020",
    "P3-D65": "P3-D65",
    "DCI-P3": "DCI-P3",
    "ACES AP0": "ACES2065-1",
    "ACES AP1": "ACEScg",
}
ADAPTATIONS = {"bradford": "Bradford", "cat02": "CAT02", "cat16": "CAT16", "none": None}


@dataclass(frozen=True, eq=False)
class IndependentCurve:
    """A curve of colour-science; `is_log` where it has values for negative light.

    `codes` is the range of the codes that its values give when multiplied by 2^n - 1.
    """

    encode: Function
    decode: Function
    is_log: bool
    codes: str = "full"

    def light(self, values: Array, carried: str | None) -> Array:
        """The light of full-scale values whose codes are in the range `carried`."""
        colour = foreign("colour")

        if carried not in (None, self.codes):
            change = colour.legal_to_full if carried == "legal" else colour.full_to_legal
            values = change(values, bit_depth=10)
        return np.asarray(self.decode(values))

    def values(self, light: Array, carried: str | None) -> Array:
        """The full-scale values of light, clipped to the range of their codes."""
        colour = foreign("colour")

        coded = np.asarray(self.encode(light))
        # The logarithm of negative light is NaN: use the signal of no light.
        coded = np.where(np.isnan(coded) & (light < 0), self.encode(np.zeros(3)), coded)
        if carried in (None, self.codes):
            return np.asarray(np.clip(coded, 0, 1))
        if carried == "legal":
            return np.asarray(colour.full_to_legal(np.clip(coded, 0, 1), bit_depth=10))
        return np.asarray(np.clip(colour.legal_to_full(coded, bit_depth=10), 0, 1))


@dataclass(frozen=True, eq=False, repr=False)
class IndependentConversion(Transform):
    """A conversion as one function of full-scale values."""

    function: Function
    text: str
    kind: ClassVar[str] = "independent_conversion"

    def _apply(self, rgb: Array) -> Array:
        return np.asarray(self.function(rgb), dtype=np.float64)

    def __repr__(self) -> str:
        return f"IndependentConversion({self.text!r})"


def independent_curve(name: str) -> IndependentCurve:
    """A curve by the short name of a standard, or by its name in colour-science's registries.

    Raises LutbenchError when colour-science has no such curve, as for a user's definition.
    """
    colour = foreign("colour")

    standard = _standard(colour).get(name)
    if standard is not None:
        encode, decode = standard
        return IndependentCurve(_quiet(encode), _quiet(decode), is_log=False)
    for encodings, decodings in (
        (colour.LOG_ENCODINGS, colour.LOG_DECODINGS),
        (colour.OETFS, colour.OETF_INVERSES),
    ):
        if name in encodings and name in decodings:
            legal = "out_normalised_code_value" in inspect.signature(encodings[name]).parameters
            functions = _quiet(encodings[name]), _quiet(decodings[name])
            return IndependentCurve(*functions, True, "legal" if legal else "full")
    raise LutbenchError(
        f"colour-science has no curve {name!r} to check against",
        accepted="a curve of a standard or of its registries",
    )


def _quiet(function: Function) -> Function:
    """The function without warnings; callers handle NaN and infinity."""

    def quiet(values: Any) -> Any:
        with np.errstate(all="ignore"), warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return np.asarray(function(values), dtype=np.float64)

    return quiet


def _standard(colour: Any) -> dict[str, tuple[Function, Function]]:
    models = colour.models
    pq_scale = float(models.ootf_inverse_BT2100_PQ(HDR_WHITE_CD_M2))
    hlg_scale = float(models.oetf_inverse_BT2100_HLG(HLG_WHITE_SIGNAL))

    def power(gamma: float) -> tuple[Function, Function]:
        return (
            lambda x: colour.gamma_function(x, 1 / gamma),
            lambda x: colour.gamma_function(x, gamma),
        )

    return {
        "linear": (lambda x: x, lambda x: x),
        "BT.709": (models.oetf_BT709, models.oetf_inverse_BT709),
        "BT.2020": (models.oetf_BT2020, models.oetf_inverse_BT2020),
        "BT.2020 12-bit": (
            lambda x: models.oetf_BT2020(x, is_12_bits_system=True),
            lambda x: models.oetf_inverse_BT2020(x, is_12_bits_system=True),
        ),
        "BT.1886": (models.eotf_inverse_BT1886, models.eotf_BT1886),
        "sRGB": (models.eotf_inverse_sRGB, models.eotf_sRGB),
        "gamma 2.2": power(2.2),
        "gamma 2.4": power(2.4),
        "gamma 2.6": power(2.6),
        "BT.2100 PQ": (
            lambda x: models.oetf_BT2100_PQ(np.asarray(x) * pq_scale),
            lambda x: models.oetf_inverse_BT2100_PQ(x) / pq_scale,
        ),
        "ST 2084": (
            lambda x: models.eotf_inverse_ST2084(np.asarray(x) * HDR_WHITE_CD_M2),
            lambda x: models.eotf_ST2084(x) / HDR_WHITE_CD_M2,
        ),
        "BT.2100 HLG": (
            lambda x: models.oetf_BT2100_HLG(np.asarray(x) * hlg_scale),
            lambda x: models.oetf_inverse_BT2100_HLG(x) / hlg_scale,
        ),
    }


@cache
def independent_space(name: str) -> Any:
    """The colour space of that name, with matrices derived from its primaries and white."""
    colour = foreign("colour")

    registered = SPACES.get(name, name)
    if registered not in colour.RGB_COLOURSPACES:
        raise LutbenchError(
            f"colour-science has no gamut {name!r} to check against",
            accepted="a gamut of a standard or of its registry",
        )
    space = colour.RGB_COLOURSPACES[registered].copy()
    space.use_derived_transformation_matrices(True)
    return space


def independent_matrix(source: str, target: str, adaptation: str = "bradford") -> Array:
    """The matrix between two gamuts as colour-science derives it, shape (3, 3)."""
    colour = foreign("colour")

    ends = independent_space(source), independent_space(target)
    matrix = colour.matrix_RGB_to_RGB(
        *ends, chromatic_adaptation_transform=ADAPTATIONS[adaptation.casefold()]
    )
    return np.asarray(matrix, dtype=np.float64)


def independent_conversion(text: str, catalogue: Catalogue) -> IndependentConversion:
    """The pipeline that `text` describes, computed by colour-science.

    Raises LutbenchError when it uses what colour-science does not have: a shoulder, gamut
    compression, a user's curve.
    """
    colour = foreign("colour")

    settings: dict[str, Any] = dict(quick_settings(text))
    kind = settings.get("kind", "combined")
    for key, plain in (("tone", "clip"), ("gamut", "clip")):
        if settings.get(key, plain) != plain:
            raise DefinitionError(
                f"colour-science has no {key} {settings[key]!r}",
                where=repr(text),
                accepted=f"{key}={plain}",
            )
    first = catalogue.curve(settings["source_curve"]).name
    second = first if kind == "gamut" else catalogue.curve(settings["target_curve"]).name
    source, target = map(independent_curve, _on_one_side(first, second, repr(text)))
    matrix = np.eye(3)
    if kind != "curve":
        before, after = (catalogue.gamut(settings[f"{end}_gamut"]) for end in ("source", "target"))
        adaptation = settings.get("adaptation", "bradford")
        matrix = independent_matrix(before.name, after.name, adaptation)
    gain = 2.0 ** settings.get("exposure", 0.0)

    def convert(values: Array) -> Array:
        light = gain * source.light(values, settings.get("source_range"))
        light = colour.algebra.vecmul(matrix, light)
        if not target.is_log:
            # Negative light has no signal above 0, and some functions give no value for it.
            light = np.maximum(light, 0)
        return target.values(light, settings.get("target_range"))

    return IndependentConversion(convert, text)


def _on_one_side(source: str, target: str, where: str) -> tuple[str, str]:
    """The two curves as both of scene light or both of display light; PQ has a form for each.

    Raises LutbenchError for HLG with display light: colour-science's OOTF would need the display.
    """
    ends = [source, target]
    for mine, other in ((0, 1), (1, 0)):
        if ends[mine] == "ST 2084" and not (
            ends[other] in _ON_DISPLAY or ends[other] == "BT.2100 PQ"
        ):
            ends[mine] = "BT.2100 PQ"
        elif ends[mine] == "BT.2100 PQ" and ends[other] in _ON_DISPLAY:
            ends[mine] = "ST 2084"
        elif ends[mine] == "BT.2100 HLG" and ends[other] in _ON_DISPLAY:
            raise DefinitionError(
                "BT.2100 HLG is converted to or from display light",
                where=where,
                accepted="scene light at both ends",
            )
    return ends[0], ends[1]


_ON_DISPLAY = ("ST 2084", "BT.1886", "sRGB", "gamma 2.2", "gamma 2.4", "gamma 2.6")
