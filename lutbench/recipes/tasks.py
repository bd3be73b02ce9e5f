"""The conversion of a recipe's LUT, from its tables."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import log2
from typing import TYPE_CHECKING, Any

from lutbench.errors import DefinitionError
from lutbench.given import one_of
from lutbench.model.catalogue import Catalogue
from lutbench.model.conversion import PLACES, Conversion, Encoding, mapping_into
from lutbench.model.curves.video import Bt1886
from lutbench.model.encoding import meeting
from lutbench.model.gamuts import Gamut, check_adaptation, usual_adaptation
from lutbench.model.grade import Cdl, Saturation, gains, white_balance
from lutbench.model.light import REFERENCE_SURROUND_CD_M2, Display
from lutbench.model.transforms import Matrix, Rgb, Transform
from lutbench.recipes.keys import TableSettings
from lutbench.recipes.settings import GAMUT_METHODS
from lutbench.recipes.table import Table

if TYPE_CHECKING:
    from lutbench.model.compression import GamutCompression
    from lutbench.model.tone import ToneMapper


def conversion_task(lut: Table, kind: Any, known: Catalogue) -> Conversion:
    """The conversion that a LUT's tables describe."""
    source = encoding_of(lut, "source", known, curve_needed=True, gamut_needed=kind != "curve")
    target = encoding_of(
        lut, "target", known, curve_needed=kind != "gamut", gamut_needed=kind != "curve"
    )
    exposure = lut.number("exposure", 0.0)
    adaptation, way = gamut_handling(
        lut.table("gamut"), usual_adaptation(source.gamut, target.gamut)
    )
    tone = tone_of(lut.table("tone"), source, target, exposure)
    shaper = lut.table("shaper")
    if tone is not None and shaper and "white" not in (lut.table("tone") or ()):
        tone = _with_white_of_shaper(tone, shaper.number("high", 1.0), source, target, exposure)
    place, grade = _look(lut.table("look"))
    task = Conversion(
        source,
        target,
        kind,
        exposure,
        _white_balance(lut.table("white_balance"), source.gamut, adaptation),
        adaptation,
        None if isinstance(way, dict) else way,
        tone,
        grade,
        place,
        lut.flag("clamp", True),
        lut.flag("as_found", False),
    )
    if not isinstance(way, dict):
        return task
    return replace(task, mapping=mapping_into(task, **way))


def encoding_of(
    lut: Table, key: str, known: Catalogue, *, curve_needed: bool, gamut_needed: bool
) -> Encoding:
    """The encoding in the table `key` of a LUT."""
    table = lut.table(key) or Table({}, lut.at(key))
    # A curve or gamut that the kind of LUT does not use may still be named.
    curve_name = table.text("curve") if curve_needed else table.text("curve", "linear")
    gamut_name = table.text("gamut") if gamut_needed else table.text("gamut", "BT.709")
    curve = known.curve(curve_name, table.at("curve"))
    if "black" in table:
        if not isinstance(curve, Bt1886):
            raise DefinitionError(
                f"{curve.name!r} has no black level",
                where=table.at("black"),
                accepted="with BT.1886 only",
            )
        curve = Bt1886(black=table.number("black"))
    if "white" in table:
        from lutbench.model.curves.hdr import PqDisplay, PqScene

        if not isinstance(curve, PqDisplay | PqScene):
            raise DefinitionError(
                f"{curve.name!r} has no white level",
                where=table.at("white"),
                accepted="with ST 2084 and BT.2100 PQ only",
            )
        curve = replace(curve, white=table.number("white"))
    display = _display(table)
    if key == "target":
        table.know("measured")  # read by recipes/schema.py
    encoding = Encoding(
        curve,
        known.gamut(gamut_name, table.at("gamut")),
        table.choice("range", ("full", "legal"), curve.formula_codes),
        table.choice("bits", (8, 10, 12, 16), 10),
        display,
    )
    table.done()
    return encoding


def _display(table: Table) -> Display | None:
    """The display of an end, which is named by its peak; black and surround need the peak."""
    if "display_peak" not in table:
        return None
    return Display(
        table.number("display_peak"),
        table.number("display_black", 0.0),
        table.number("surround", REFERENCE_SURROUND_CD_M2),
    )


def _with_white_of_shaper(
    tone: ToneMapper, high: float, source: Encoding, target: Encoding, exposure: float
) -> ToneMapper:
    """The tone; a shoulder gets its white at the end of the shaper's range, if that is brighter."""
    from lutbench.model.tone.shoulder import ToneCurve

    if not isinstance(tone, ToneCurve):
        return tone
    light = float(source.to_light(meeting(source, target).source).apply([high] * 3)[1])
    stops = log2(max(light, 1e-9) / tone.grey_in) + exposure
    return replace(tone, white=stops) if stops > tone.white else tone


def tone_of(
    table: Table | None, source: Encoding, target: Encoding, exposure: float
) -> ToneMapper | None:
    """The tone mapper that a table describes, fitted to source and target."""
    if table is None:
        return None
    from lutbench.model.tone import tone_mapper

    mapper = tone_mapper(table.text("method", "shoulder"), table.where)
    settings = mapper.settings() if mapper else {}
    given = {key: table.like(key, default) for key, default in settings.items() if key in table}
    table.know(*settings)
    table.done()
    with table.placing_errors():
        return mapper.between(source, target, exposure, **given) if mapper else None


def gamut_handling(
    table: Table | None, usual: str
) -> tuple[str, GamutCompression | dict[str, Any] | None]:
    """The adaptation (`usual` by default), and a compression, settings of a mapping, or None."""
    if table is None:
        return usual, None
    from lutbench.model.compression import GamutCompression
    from lutbench.model.gamut_map import KNEE, MOST_KNEE

    method = one_of("gamut handling", table.text("method", "clip"), GAMUT_METHODS, table.where)
    adaptation = check_adaptation(table.text("adaptation", usual), table.at("adaptation"))
    given: dict[str, Any] = {}
    for key in ("thresholds", "limits"):
        if (values := table.numbers(key, 3)) is not None:
            given[key] = values
    if "power" in table:
        given["power"] = table.number("power")
    table.know("power")
    knee = table.number("knee", KNEE)
    table.done()
    if method == "clip":
        return adaptation, None
    if method == "map":
        if not 0 <= knee <= MOST_KNEE:
            raise DefinitionError(
                f"a knee of {knee:g} is out of range",
                where=table.at("knee"),
                accepted=f"0 to {MOST_KNEE}",
            )
        return adaptation, {"knee": knee}
    with table.placing_errors():
        return adaptation, GamutCompression(**given)


def _white_balance(table: Table | None, gamut: Gamut, adaptation: str) -> Matrix | None:
    if table is None:
        return None
    with table.placing_errors():
        if (triple := table.numbers("gains", 3)) is not None:
            matrix = gains(*triple)
        else:
            matrix = white_balance(
                gamut,
                table.number("kelvin"),
                table.number("tint", 0.0),
                balanced_for=table.number("balanced_for", 5600.0),
                adaptation="bradford" if adaptation == "none" else adaptation,
            )
    table.done()
    return matrix


@dataclass(frozen=True, kw_only=True)
class CdlKeys(TableSettings):
    """An ASC CDL."""

    slope: Rgb | None = None
    offset: Rgb | None = None
    power: Rgb | None = None
    saturation: float = 1.0
    clamp: bool | None = None
    """Clip to 0..1; true except in `light`."""

    def step(self, place: str) -> Cdl:
        """The CDL itself, at that place of the conversion."""
        numbers = {"slope": self.slope, "offset": self.offset, "power": self.power}
        return Cdl(
            **{key: value for key, value in numbers.items() if value is not None},
            saturation=self.saturation,
            clamp=place != "light" if self.clamp is None else self.clamp,
        )


def _look(table: Table | None) -> tuple[Any, tuple[Transform, ...]]:
    if table is None:
        return "after", ()
    place = table.choice("place", PLACES, "after")
    steps: list[Transform] = []
    if (file := table.file("file")) is not None:
        steps.append(_look_in(file, place))
    with table.placing_errors():
        if (cdl := table.table("cdl")) is not None:
            steps.append(CdlKeys.read(cdl).step(place))
        if "saturation" in table:
            steps.append(Saturation(table.number("saturation")))
    table.know("saturation")
    table.done()
    return place, tuple(steps)


def _look_in(file: str, place: str) -> Transform:
    """The look of a file; a CDL clips its result to 0..1, as a CDL in the recipe does."""
    from lutbench.formats.registry import open_lut

    look = open_lut(file)
    return replace(look, clamp=place != "light") if isinstance(look, Cdl) else look
