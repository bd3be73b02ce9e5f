"""Where the light of two encodings meets: the one place that lets sides of light touch.

- Both ends on one side: they meet there, white on white.
- BT.2100 PQ and ST 2084 are one signal with two lights, tied by PQ's reference OOTF:
  such an end comes over to the side of the other.
- BT.2100 HLG shows display light once its display is named: then it comes over to the
  side of the other through that display's OOTF. Unnamed, it never meets display light.
- A log, linear or BT.709 camera encoding against a display of standard range: no
  standard ties these. The tone of the LUT is the rendering, and `clip` shows the
  scene as it is.

Sources: Recommendation ITU-R BT.2100-2, tables 4 and 5; Report ITU-R BT.2408, 5 and 6
(scene-referred and display-referred conversion).
"""

from __future__ import annotations

from dataclasses import dataclass

from lutbench.errors import LutbenchError
from lutbench.model.encoding import Encoding
from lutbench.model.light import Side


@dataclass(frozen=True)
class Meeting:
    """The side on which each end gives or takes its light.

    The two differ only where the LUT's own tone renders the scene for a display.
    """

    source: Side
    target: Side

    @property
    def is_rendered_by_tone(self) -> bool:
        """Whether scene light and display light meet with nothing but the tone between them."""
        return self.source != self.target


def unrendered(source: Encoding, target: Encoding) -> Meeting:
    """Each end on its own side, nothing between: what LUTs from elsewhere may do."""
    return Meeting(source.side, target.side)


def is_unrendered(source: Encoding, target: Encoding) -> bool:
    """Whether two ends meet with nothing between their own curves' light."""
    try:
        return meeting(source, target) == unrendered(source, target)
    except LutbenchError:
        return False


def meeting(source: Encoding, target: Encoding) -> Meeting:
    """The side on which two encodings meet.

    Raises
    ------
    LutbenchError
        Where scene light would be taken for display light; it says what to name.

    >>> from lutbench.model.catalogue import open_catalogue
    >>> known = open_catalogue(user=False)
    >>> log, pq = (Encoding(known.curve(n), known.gamut("BT.2020")) for n in ("ACEScct", "ST 2084"))
    >>> meeting(log, pq)
    Meeting(source='scene', target='scene')
    """
    if source.side == target.side:
        return Meeting(source.side, target.side)
    scene, display = (source, target) if source.side == "scene" else (target, source)
    if scene.curve.has_ootf:
        if not scene.gives("display"):
            raise LutbenchError(
                f"{scene.curve.name} holds scene light until its display is named, and "
                f"{display.curve.name} holds display light",
                accepted=_what_to_name(scene, display),
            )
        return Meeting("display", "display")
    if display.curve.has_ootf and display.gives("scene"):
        return Meeting("scene", "scene")
    return Meeting(source.side, target.side)


def _what_to_name(scene: Encoding, display: Encoding) -> str:
    named = f"a display for {scene.curve.name} (display_peak = 1000, in cd/m²)"
    counterpart = display.curve.scene_name
    return f"{named}, or {counterpart} for scene light at both ends" if counterpart else named
