"""The function for exposure levels: `levels`."""

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
        The curve that the camera records, by name or object.
    lut
        The LUT that the picture is viewed through: a LUT, a path or words; None for none.
    source_range, target_range
        ``full`` or ``legal``: the range of the LUT's input and output values; unless given,
        as the LUT's comments or its recipe say, else the input as the curve is published and
        the output full.
    expose
        Stops of deliberate over-exposure; negative for under-exposure.
    zebra_min, zebra_step
        The lowest zebra that the camera offers and its steps, in percent of signal.
    over_exposure
        Stops by which a meter shows too much light: adds advice on neutral density filters.
    filters
        The densities that you have; 0.3 to 3.0 unless given.
    display
        The display that the picture is viewed on, with peak, black and surround in cd/m²:
        adds luminance.
    target_curve
        With `display` and `lut`: the curve of the LUT's output, where `lut` does not state it.
    catalogue
        Where names are looked up; `open_catalogue()` unless given.

    Returns
    -------
    Levels
        Signal, percent and full- and legal-range code values of reflectances and stops.

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
    elif target_curve is not None:
        raise LutbenchError("no display is named", where="target_curve", accepted="a Display")
    stated = (None, None) if subject is None else subject.ranges
    return levels(
        recorded,
        None if subject is None else subject.transform,
        lut_name="" if subject is None else subject.name,
        source_range=arguments.signal_range(source_range, "source_range") or stated[0],
        target_range=arguments.signal_range(target_range, "target_range") or stated[1],
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
    if subject is None:
        return shown_on(recorded, display)
    target = subject.target
    gamut = None if target is None else target.gamut
    if curve is not None:
        return shown_on(known.curve(curve, "target_curve", exact=False), display, gamut)
    if target is None:
        raise LutbenchError("the curve of the LUT's output is not known", accepted="target_curve")
    return shown_on(target.curve, display, gamut)
