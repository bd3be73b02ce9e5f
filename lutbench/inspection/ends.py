"""The source and the target of a LUT, as its file, the project or an identification names them."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from lutbench.errors import LutbenchError
from lutbench.model.curves.base import Curve
from lutbench.model.encoding import Encoding
from lutbench.model.gamuts import Gamut
from lutbench.model.signal import Range, check_range

if TYPE_CHECKING:
    from lutbench.formats.comments import EndInComments
    from lutbench.identification import Identification
    from lutbench.inspection.inspection import Inspection
    from lutbench.model.catalogue import Catalogue


def with_usual_ends(
    found: Inspection, curve: Curve, gamut: Gamut | None, given: Range | None
) -> Inspection:
    """`found`, with a project's usual recording as its source where no other source is known."""
    if found.source_curve is not None:
        return found
    return replace(
        found,
        source_curve=curve,
        source_gamut=gamut,
        source_range=given or curve.formula_codes,
        known_by="project",
    )


def with_named_ends(
    found: Inspection,
    named: Mapping[str, EndInComments],
    catalogue: Catalogue,
    given: Collection[str] = (),
) -> Inspection:
    """`found`, with the source and the target that its file names, where the user named none.

    `given` names what the user gave (``target_range``, ``target_curve``, …): it stays. A name
    that the catalogue does not know is ignored, and `found` is returned unchanged.
    """
    source, target = named.get("source"), named.get("target")
    try:
        changes = _of_source(source, catalogue, found, given) if source is not None else {}
        changes |= _of_target(target, catalogue, found, given) if target is not None else {}
        return replace(found, **changes)
    except LutbenchError:
        return found


def _of_source(
    source: EndInComments, catalogue: Catalogue, found: Inspection, given: Collection[str]
) -> dict[str, Any]:
    span = found.source_range if "source_range" in given else source.range
    curve = catalogue.curve(source.curve, exact=False)
    gamut = catalogue.gamut(source.gamut) if source.gamut else None
    if found.source_curve is None:
        return {
            "source_curve": curve,
            "source_gamut": gamut,
            "source_range": span,
            "known_by": "file",
        }
    # The user names another curve, or repeats this one: the table takes codes of the same range.
    same = found.source_curve == curve and found.source_gamut is None
    return {"source_range": span} | ({"source_gamut": gamut} if same else {})


def _of_target(
    target: EndInComments, catalogue: Catalogue, found: Inspection, given: Collection[str]
) -> dict[str, Any]:
    span = found.target_range if "target_range" in given else target.range
    if found.kind == "gamut":
        return {"target_range": span}
    curve, gamut = found.target.curve, found.target.gamut
    if "target_curve" not in given:
        curve = catalogue.curve(target.curve, exact=False)
    if target.gamut and "target_gamut" not in given:
        gamut = catalogue.gamut(target.gamut)
    return {
        "target": Encoding(curve, gamut),
        "target_range": span,
        "target_known_by": found.target_known_by or "file",
    }


def with_identified_ends(
    found: Inspection, identification: Identification, catalogue: Catalogue
) -> Inspection:
    """`found` with the identified source and target, if the confidence is high.

    The report then has stops, reflectances and hues, although nobody named the source. What is
    only likely, or a guess, is put into words.
    """
    from lutbench.identification.words import supposed

    best = identification.candidates[0] if identification.candidates else None
    if best is None:
        return found
    if best.confidence != "high":
        return replace(found, supposed=supposed(best))
    source, target = best.source, best.target
    if source.curve is None:
        return found
    seen = found.target
    if target.curve is not None and found.kind != "gamut":
        gamut = catalogue.gamut(target.gamut) if target.gamut else found.target.gamut
        seen = Encoding(catalogue.curve(target.curve, exact=False), gamut)
    return replace(
        found,
        source_curve=catalogue.curve(source.curve, exact=False),
        source_gamut=catalogue.gamut(source.gamut) if source.gamut else None,
        source_range=check_range(source.range),
        target_range=check_range(target.range),
        target=seen,
        known_by="identified",
        target_known_by="identified" if target.curve is not None else "",
    )


def identified(found: Inspection, catalogue: Catalogue) -> tuple[Inspection, Identification | None]:
    """An inspection with the identified source and target, and the identification.

    The identification is None if the LUT cannot be identified, because it is constant or damaged.
    """
    from lutbench.identification import identify

    try:
        result = identify(
            found.lut,
            catalogue=catalogue,
            source_curve=found.source_curve.name if found.source_curve else None,
            source_gamut=found.source_gamut.name if found.source_gamut else None,
        )
    except LutbenchError:
        return found, None
    if found.source_curve is None and found.health.decided_by is None:
        found = with_identified_ends(found, result, catalogue)
    return found, result
