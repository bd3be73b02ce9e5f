"""The function that says where light lands on a signal: levels."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from lutbench.errors import LutbenchError
from lutbench.face import arguments
from lutbench.face.arguments import LutLike
from lutbench.model.catalogue import Catalogue
from lutbench.model.curves.base import Curve
from lutbench.model.signal import Range

if TYPE_CHECKING:
    from lutbench.exposure.levels import Levels
    from lutbench.exposure.luminance import Shown
    from lutbench.model.light import Display
    from lutbench.recipes.subjects import NamedTransform


def levels(
    curve: Curve | str,
    lut: LutLike | None = None,
    *,
    source_range: Range | None = None,
    target_range: Range | None = None,
    expose: float = 0.0,
    zebra_min: float | None = None,
    zebra_step: float = 5.0,
    over_exposure: float | None = None,
    filters: Sequence[float] = (),
    display: Display | None = None,
    target_curve: Curve | str | None = None,
    catalogue: Catalogue | None = None,
) -> Levels:
    """Where grey, skin, white and each stop lie on a curve, and after a LUT.

    Parameters
    ----------
    curve
        What the camera records, by name or object.
    lut
        What the picture is watched through: a LUT, a path or words; None for nothing.
    source_range, target_range
        ``full`` or ``legal``: the range of the values that go into the LUT and come out;
        as the curve is published, and full, unless told.
    expose
        Stops that you expose over (under where negative) on purpose.
    zebra_min, zebra_step
        The lowest zebra that the camera offers and its steps, percent of signal.
    over_exposure
        Stops that a meter shows too many: adds the choice of neutral density.
    filters
        The densities that you have; 0.3 to 3.0 unless given.
    display
        The display that is watched, by peak, black and surround in cd/m²: adds luminance.
    target_curve
        With `display` and `lut`: the curve of what comes out, where `lut` does not tell.
    catalogue
        Where names are looked up; `open_catalogue()` unless given.

    Returns
    -------
    Levels
        Signal, percent and code values, full and legal, of reflectances and stops.

    Raises
    ------
    LutbenchError
        When a name is not known, the file cannot be read, or a number is out of range.
    """
    from lutbench.exposure.levels import levels

    more: dict[str, Any] = {
        "exposed": arguments.real(expose, "expose"),
        "zebra_step": arguments.real(zebra_step, "zebra_step"),
        "filters": tuple(
            arguments.real(x, "filters") for x in arguments.listed(filters, "filters")
        ),
    }
    if zebra_min is not None:
        more["zebra_min"] = arguments.real(zebra_min, "zebra_min", 0, 109)
    if over_exposure is not None:
        more["over_exposure"] = arguments.real(over_exposure, "over_exposure")
    subject = None if lut is None else arguments.named(lut, catalogue, "lut")
    known = arguments.known(catalogue)
    recorded = known.curve(curve, "curve", exact=False)
    if display is not None:
        more["shown"] = _watched(display, recorded, subject, target_curve, known)
    return levels(
        recorded,
        None if subject is None else subject.transform,
        lut_name="" if subject is None else subject.name,
        source_range=arguments.signal_range(source_range, "source_range"),
        target_range=arguments.signal_range(target_range, "target_range"),
        **more,
    )


def _watched(
    display: Any, recorded: Curve, subject: NamedTransform | None, curve: Any, known: Catalogue
) -> Shown:
    from lutbench.exposure.luminance import shown_on
    from lutbench.model.light import Display

    if not isinstance(display, Display):
        raise LutbenchError(
            f"{display!r:.60} is not a Display", where="display", accepted="a Display"
        )
    told = None if subject is None else subject.target
    if subject is None:
        return shown_on(recorded, display)
    if curve is None and told is None:
        raise LutbenchError(
            "nothing says which curve comes out of the LUT", accepted="target_curve"
        )
    watched = known.curve(curve, "target_curve", exact=False) if curve is not None else told.curve  # type: ignore[union-attr]
    return shown_on(watched, display, None if told is None else told.gamut)
