"""Inspect: what a LUT does, in facts and findings."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar, Literal

import numpy as np

from lutbench.exposure.reading import AfterLut, Level, Reading
from lutbench.formats.comments import Written, ends_in_comments, written
from lutbench.inspection.facts import (
    AxisReport,
    ChangeMade,
    DepthReport,
    Evidence,
    KindOfLut,
    KnownBy,
    KnownEnd,
    MidGrey,
    axis_report,
    change_made,
    depth_reports,
    evidence_of,
)
from lutbench.inspection.finding import Finding, NotExamined, Severity, worst_severity
from lutbench.inspection.registry import Health, Limits, all_limits
from lutbench.inspection.subject import NeutralAxis, Subject
from lutbench.model.catalogue import Catalogue, open_catalogue
from lutbench.model.curves.base import Curve
from lutbench.model.curves.video import Bt1886
from lutbench.model.encoding import Encoding
from lutbench.model.gamuts import BT709, Gamut
from lutbench.model.signal import Range, RangeFromSignal, SignalFromRange, check_range
from lutbench.model.transforms import Transform
from lutbench.results import PlainData, Result
from lutbench.tables.lut import Lut, Lut1D

if TYPE_CHECKING:
    from lutbench.inspection.box import Box
    from lutbench.inspection.hue import HueShift
    from lutbench.inspection.scene import SceneReport

TENTHS = tuple(k / 10 for k in range(11))
"""Neutral inputs that are listed as levels when no curve is known: tenths of the scale."""


@dataclass(frozen=True)
class ShaperReport(PlainData):
    """The 1D LUT before a 3D one."""

    KEYS = ("size=shaper.size", "domain=shaper.domain")

    shaper: Lut1D


@dataclass(frozen=True, repr=False)
class Inspection(Result):
    """What was found out about a LUT.

    Parameters
    ----------
    subject
        The LUT with its neutral axis and lattice.
    file, format, notes
        The file's path and format, and the irregularities that its reader tolerated.
    source_curve, source_gamut
        The encoding of the recording; None when it is not known.
    target
        The encoding by which the output is seen.
    known_by
        How the source is known: ``named`` (by the user), ``file`` (from its comments),
        ``project`` or ``identified``; empty when it is not known.
    target_known_by
        How the target is known, in the same words; empty when it is only assumed.
    supposed
        The recording that is likely or a guess by the numbers of the LUT, with what it is in
        words; empty where it is known, or nothing is known.
    file_title, file_comments
        Those of a file that holds a transform without a table, which has none of its own.
    """

    KEYS = (
        *("schema", "file", "kind", "type=subject.type", "size=subject.size"),
        *("domain=subject.domain", "shaper", "format", "title", "comments", "notes", "written"),
        *("verdict", "change", "box", "evidence", "source=source_end", "seen_as=seen_end"),
        *("neutral_axis", "levels", "scene", "bit_depth=depth", "hue", "worst", "findings"),
        *("not_examined=reasons_not_examined", "limits=limits_in_force"),
    )
    schema: ClassVar[Literal[1]] = 1

    subject: Subject
    file: str | None = None
    format: str | None = None
    notes: tuple[str, ...] = ()
    source_curve: Curve | None = None
    source_gamut: Gamut | None = None
    source_range: Range = "full"
    target_range: Range = "full"
    target: Encoding = field(default_factory=lambda: Encoding(Bt1886(), BT709))
    limits: Limits = field(default_factory=Limits)
    known_by: KnownBy = ""
    target_known_by: KnownBy = ""
    file_title: str = ""
    file_comments: tuple[str, ...] = ()
    supposed: str = ""

    @property
    def lut(self) -> Transform:
        """The LUT itself."""
        return self.subject.lut

    @property
    def title(self) -> str:
        """What the file calls itself; empty when it does not."""
        return str(getattr(self.lut, "title", self.file_title))

    @property
    def comments(self) -> tuple[str, ...]:
        """The comments of the file."""
        return tuple(getattr(self.lut, "comments", self.file_comments))

    @cached_property
    def written(self) -> Written | None:
        """Whether the table is still the one that was written; None if the file has no checksum."""
        if not isinstance(self.lut, Lut) or not self.comments:
            return None
        return written(self.lut, self.comments)

    @property
    def name(self) -> str:
        """The file's name, else its title."""
        return Path(self.file).name if self.file else (self.title or "LUT")

    @cached_property
    def sha256(self) -> str:
        """The SHA-256 of the file, in hexadecimal; empty for a LUT that is not from a file."""
        if not self.file or not Path(self.file).is_file():
            return ""
        import hashlib

        from lutbench import files
        from lutbench.formats.registry import MAX_BYTES

        return hashlib.sha256(files.read_bytes(self.file, limit=MAX_BYTES)).hexdigest()

    @cached_property
    def evidence(self) -> Evidence:
        """The measures that decide the kind."""
        return evidence_of(self.subject)

    @property
    def kind(self) -> KindOfLut:
        """What it changes: the tone of each channel, colours, both or nothing."""
        return self.evidence.kind

    @property
    def neutral(self) -> NeutralAxis:
        """The neutral axis."""
        return self.subject.neutral

    @cached_property
    def mid_grey_in(self) -> float:
        """The input of mid grey by the source curve; else the input that comes out half way up."""
        if self.source_curve is None:
            return self.neutral.middle
        signal = min(max(self.source_curve.mid_grey, 0.0), 1.0)
        return float(RangeFromSignal(self.source_range).apply([signal] * 3)[0])

    @property
    def mid_grey_out(self) -> float:
        """What mid grey becomes."""
        return float(self.neutral.at(self.mid_grey_in).mean())

    @cached_property
    def scene(self) -> SceneReport | None:
        """The LUT read in stops; None without a source curve."""
        if self.source_curve is None:
            return None
        from lutbench.inspection.scene import scene_report

        return scene_report(
            self.lut,
            self.source_curve,
            lut_name=self.name,
            source_range=self.source_range,
            target_range=self.target_range,
        )

    @cached_property
    def depth(self) -> tuple[DepthReport, ...]:
        """What 8-bit and 10-bit recordings become."""
        return depth_reports(self.subject, self.mid_grey_in)

    @cached_property
    def health(self) -> Health:
        """The examination."""
        return Health(self.subject, self.limits, self._white_card_in, self.hue)

    @cached_property
    def hue(self) -> HueShift | None:
        """What happens to six ramps of constant hue; None unless curve and gamut are known."""
        if self.source_curve is None or self.source_gamut is None or self.subject.lattice is None:
            return None
        from lutbench.inspection.hue import hue_shift

        source = Encoding(self.source_curve, self.source_gamut, self.source_range)
        return hue_shift(self.lut, source, self.seen_as)

    @property
    def findings(self) -> tuple[Finding, ...]:
        """All findings, worst first."""
        return self.health.findings

    @property
    def worst(self) -> Severity | None:
        """The worst severity found; None when nothing was."""
        return worst_severity(self.findings)

    @property
    def unusable(self) -> bool:
        """Whether the file has a fault that makes all other figures meaningless."""
        return self.worst == "error" and self.health.decided_by is not None

    @property
    def not_examined(self) -> tuple[NotExamined, ...]:
        """What could not be looked for, and why."""
        return self.health.not_examined

    @property
    def seen_as(self) -> Encoding:
        """The encoding of the LUT's output, with its range."""
        return Encoding(self.target.curve, self.target.gamut, self.target_range)

    @property
    def _white_card_in(self) -> float | None:
        """The input of a 90 % white, where the recording holds it."""
        if self.source_curve is None or self.source_curve.clip < 0.9:
            return None
        signal = float(self.source_curve.encode(0.9))
        return float(RangeFromSignal(self.source_range).apply([signal] * 3)[0])

    @cached_property
    def change(self) -> ChangeMade:
        """How large a change it makes, in a word and a number."""
        return change_made(self.subject, self.seen_as)

    @property
    def verdict(self) -> str:
        """The LUT in two sentences."""
        from lutbench.inspection.box import verdict

        return verdict(self)

    @cached_property
    def box(self) -> Box:
        """What to set, to read and to expect, in short."""
        from lutbench.inspection.box import box_of

        return box_of(self)

    @property
    def levels(self) -> tuple[Level, ...]:
        """The levels: of the source curve, else of tenths of the input scale."""
        if self.scene is not None:
            return self.scene.levels.levels
        rows = []
        for tenth in TENTHS:
            out = self.lut.apply(RangeFromSignal(self.source_range).apply([tenth] * 3))
            rgb = SignalFromRange(self.target_range).apply(out)
            after = AfterLut(float(np.mean(rgb)), rgb.tolist())
            rows.append(Level(f"{100 * tenth:.0f} %", math.nan, Reading(tenth), after))
        return tuple(rows)

    @property
    def neutral_axis(self) -> AxisReport:
        """What it does to greys, in short."""
        grey = MidGrey(self.mid_grey_in, self.mid_grey_out, self.source_curve is not None)
        return axis_report(self.neutral, grey, self.limits["non_monotonic"])

    @property
    def shaper(self) -> ShaperReport | None:
        """The 1D LUT before a 3D one."""
        shaper = getattr(self.lut, "shaper", None)
        return None if shaper is None else ShaperReport(shaper)

    @property
    def source_end(self) -> KnownEnd:
        """The encoding of the recording."""
        return KnownEnd(
            self.source_curve.name if self.source_curve else None,
            self.source_gamut.name if self.source_gamut else None,
            self.source_range,
            self.known_by,
        )

    @property
    def seen_end(self) -> KnownEnd:
        """The encoding by which the output is seen; `known_by` is null where it is assumed."""
        target = self.target
        return KnownEnd(
            target.curve.name, target.gamut.name, self.target_range, self.target_known_by
        )

    @property
    def reasons_not_examined(self) -> list[str]:
        """What could not be looked for, and why."""
        return [str(each) for each in self.not_examined]

    @property
    def limits_in_force(self) -> dict[str, float]:
        """By code of finding, in its unit."""
        return {code: self.limits[code] for code in sorted(all_limits())}


def inspect(
    lut: Transform | str | Path,
    *,
    source_curve: Curve | str | None = None,
    source_gamut: Gamut | str | None = None,
    source_range: Range | None = None,
    target_range: Range | None = None,
    target_curve: Curve | str | None = None,
    target_gamut: Gamut | str | None = None,
    limits: Limits | Mapping[str, float] | None = None,
    catalogue: Catalogue | None = None,
) -> Inspection:
    """What a LUT does, and what is wrong with it.

    The arguments are those of `lutbench.inspect`, without words for `lut`.

    Raises
    ------
    LutbenchError
        When the file cannot be read, or a name, range or limit is unknown.

    >>> from lutbench.tables.lut import Lut3D
    >>> found = inspect(Lut3D.identity(17))
    >>> found.kind, [each.code for each in found.findings]
    ('identity', [])
    """
    file, read = None, None
    if not isinstance(lut, Transform):
        from lutbench.formats.registry import read_lut_file

        file, read = str(lut), read_lut_file(lut)
        lut = read.lut
    known = catalogue or open_catalogue()
    source = _curve(known, source_curve, "source_curve")
    target = _curve(known, target_curve, "target_curve") or Bt1886()
    found = Inspection(
        Subject(lut),
        file,
        read.format if read else None,
        read.notes if read else (),
        source,
        _gamut(known, source_gamut, "source_gamut"),
        _range(source_range, source.formula_codes if source else "full", "source_range"),
        _range(target_range, target.formula_codes, "target_range"),
        Encoding(target, _gamut(known, target_gamut, "target_gamut") or BT709),
        limits if isinstance(limits, Limits) else Limits(dict(limits or {})),
        "named" if source_curve is not None else "",
        "named" if target_curve is not None else "",
        read.title if read else "",
        read.comments if read else (),
    )
    if not (named := ends_in_comments(found.comments)):
        return found
    from lutbench.inspection.ends import with_named_ends

    ends = {"source_range": source_range, "target_range": target_range,
            "target_curve": target_curve, "target_gamut": target_gamut}  # fmt: skip
    return with_named_ends(found, named, known, {name for name in ends if ends[name]})


def _curve(known: Catalogue, name: Curve | str | None, what: str) -> Curve | None:
    # To look at, not to build from: it may be interpolated.
    return None if name is None else known.curve(name, what, exact=False)


def _range(given: Range | None, usual: Range, what: str) -> Range:
    return check_range(usual if given is None else given, what)


def _gamut(known: Catalogue, name: Gamut | str | None, what: str) -> Gamut | None:
    return None if name is None else known.gamut(name, what)
