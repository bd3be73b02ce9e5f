"""Functions that examine LUTs: `inspect`, `identify`, `split`, `compare`, `verify`."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lutbench.errors import LutbenchError
from lutbench.face import arguments
from lutbench.face.arguments import LutLike
from lutbench.model.catalogue import Catalogue
from lutbench.model.curves.base import Curve
from lutbench.model.encoding import Encoding
from lutbench.model.gamuts import Gamut
from lutbench.model.signal import Range

if TYPE_CHECKING:
    from lutbench.checks.runner import Report
    from lutbench.identification.result import Identification
    from lutbench.inspection.inspection import Inspection
    from lutbench.measure.comparison import Comparison
    from lutbench.splitting.split import Split


def inspect(
    lut: LutLike,
    *,
    source_curve: Curve | str | None = None,
    source_gamut: Gamut | str | None = None,
    source_range: Range | None = None,
    target_range: Range | None = None,
    target_curve: Curve | str | None = None,
    target_gamut: Gamut | str | None = None,
    limits: Mapping[str, float] | None = None,
    catalogue: Catalogue | None = None,
) -> Inspection:
    """What a LUT does, and what is wrong with it.

    Parameters
    ----------
    lut
        A LUT, a path, or words like "ACEScct, ACEScg to BT.1886, BT.709".
    source_curve, source_gamut
        The encoding of the recording, by name or object: adds levels in stops and
        reflectance, and hue shifts. Unless given, what the comments of the file say, as
        ``lutbench build`` writes them.
    source_range, target_range
        ``full`` or ``legal``: the range of the LUT's input and output values; as the curves
        are published unless given.
    target_curve, target_gamut
        The encoding of the display that the result is viewed on; BT.1886 and BT.709 unless
        given.
    limits
        Limits by finding code, each in the unit that the finding states.
    catalogue
        Where names are looked up; `open_catalogue()` unless given.

    Returns
    -------
    Inspection
        `findings` is what is wrong, worst first.

    Raises
    ------
    LutbenchError
        When the file cannot be read, a name is not known, or a limit is not valid.

    >>> inspect("ACEScct, ACEScg to BT.1886, BT.709; size=17").kind
    'combined'
    """
    from lutbench.inspection.inspection import inspect

    if limits is not None and not isinstance(limits, Mapping):
        raise LutbenchError(
            f"{limits!r:.60} are not limits", where="limits", accepted="numbers by code"
        )
    known = arguments.known(catalogue)
    words = isinstance(lut, str) and not os.path.isfile(lut)
    is_path = isinstance(lut, str | os.PathLike) and not words
    subject = lut if is_path else arguments.transform(lut, catalogue)
    return inspect(
        subject,  # type: ignore[arg-type]
        source_curve=source_curve,
        source_gamut=source_gamut,
        source_range=source_range,
        target_range=target_range,
        target_curve=target_curve,
        target_gamut=target_gamut,
        limits=limits,
        catalogue=known,
    )


def identify(
    lut: LutLike,
    *,
    catalogue: Catalogue | None = None,
    source_curve: Curve | str | None = None,
    source_gamut: Gamut | str | None = None,
    source_range: Range | None = None,
    target_curve: Curve | str | None = None,
    target_gamut: Gamut | str | None = None,
    target_range: Range | None = None,
) -> Identification:
    """What is inside a LUT: source and target curve, gamut and range, exposure, look.

    Parameters
    ----------
    lut
        A LUT, a path, or words like "ACEScct, ACEScg to BT.1886, BT.709".
    catalogue
        The curves and gamuts to consider; `open_catalogue()` unless given.
    source_curve, source_gamut, source_range, target_curve, target_gamut, target_range
        What is known already, by name.

    Returns
    -------
    Identification
        `candidates`, best first, with errors in 10-bit codes and a confidence.

    Raises
    ------
    LutbenchError
        When the file cannot be read, or a name is not known.
    """
    from lutbench.identification.search import identify

    return identify(
        arguments.transform(lut, catalogue),
        catalogue=None if catalogue is None else arguments.known(catalogue),
        source_curve=_name(source_curve, Curve, "source_curve"),
        source_gamut=_name(source_gamut, Gamut, "source_gamut"),
        source_range=source_range,
        target_curve=_name(target_curve, Curve, "target_curve"),
        target_gamut=_name(target_gamut, Gamut, "target_gamut"),
        target_range=target_range,
    )


def split(
    lut: LutLike,
    *,
    catalogue: Catalogue | None = None,
    identification: Identification | None = None,
) -> Split:
    """A LUT split into gamut, curve and look: LUTs whose chain gives the original back.

    Parameters
    ----------
    lut
        A LUT, a path, or words like "ACEScct, ACEScg to BT.1886, BT.709".
    catalogue
        The curves and gamuts to consider; `open_catalogue()` unless given.
    identification
        The result of `identify`, where you have it already.

    Returns
    -------
    Split
        The parts, and the distance of their chain from the LUT in 10-bit codes.

    Raises
    ------
    LutbenchError
        When the file cannot be read, or the LUT cannot be split.
    """
    from lutbench.identification.result import Identification
    from lutbench.splitting.split import split

    if identification is not None and not isinstance(identification, Identification):
        raise LutbenchError(
            f"{identification!r:.60}", where="identification", accepted="what identify() gives"
        )
    return split(
        arguments.transform(lut, catalogue),
        catalogue=None if catalogue is None else arguments.known(catalogue),
        identification=identification,
    )


def compare(
    a: LutLike,
    b: LutLike,
    *,
    source: Encoding | str | None = None,
    target: Encoding | str | None = None,
    colours: Sequence[str] | None = None,
    bits: int = 10,
    worst: int = 8,
    catalogue: Catalogue | None = None,
) -> Comparison:
    """How far two LUTs or transforms are apart, where, and why.

    Parameters
    ----------
    a, b
        LUTs, paths, or words like "ACEScct, ACEScg to BT.1886, BT.709".
    source, target
        The encodings of input and output, as an `Encoding` or as "CURVE, GAMUT"; unless given,
        as the words or the recipe state them, else ACEScct in AP1, which only decides the
        inputs of the chart's patches, and BT.709, seen on a BT.1886 display.
    colours
        The sets of test colours: ``chart`` (24 patches, -3 to +3 stops), ``neutral``,
        ``random``, ``nodes`` (those of both lattices).
    bits
        The depth of the code values that are given beside those of 10 bits: 8, 10, 12 or 16.
    worst
        How many of the worst colours are kept, 0 to 100; no two of them are close.
    catalogue
        Where names are looked up; `open_catalogue()` unless given.

    Returns
    -------
    Comparison
        ΔE 2000, ΔE ITP and code values over the test colours, and an explanation.

    Raises
    ------
    LutbenchError
        When a file cannot be read, a name is not known, or a number is out of range.
    """
    from lutbench.measure.comparison import SETS, compare

    before, after = (
        None if end is None else arguments.encoding(end, catalogue, what)
        for end, what in ((source, "source"), (target, "target"))
    )
    one, other = (arguments.named(each, catalogue, what) for each, what in ((a, "a"), (b, "b")))
    return compare(
        one.transform,
        other.transform,
        source=before or one.source or other.source,
        target=after or one.target or other.target,
        sets=SETS if colours is None else arguments.texts(colours, "colours"),
        bits=arguments.whole(bits, "bits", 8, 16),
        worst=arguments.whole(worst, "worst", 0, 100),
    )


def verify(
    suite: str | os.PathLike[str],
    *,
    expression: str = "",
    tags: Sequence[str] = (),
    definitions: Sequence[str | os.PathLike[str]] = (),
    jobs: int = 1,
) -> Report:
    """Run the checks of a suite.

    Parameters
    ----------
    suite
        The path of a suite in TOML.
    expression
        Run only checks whose names match it: words with ``and``, ``or`` and ``not``.
    tags
        Run only checks that have one of these tags.
    definitions
        Files with curves and gamuts of your own.
    jobs
        Number of checks that run at the same time, each in its own process, 1 to 64.

    Returns
    -------
    Report
        `passed`, and the outcomes in the order of the suite.

    Raises
    ------
    LutbenchError
        When the suite cannot be used. A check that fails raises nothing.
    """
    from lutbench.checks.runner import SuiteRun, run_suite
    from lutbench.checks.suite import read_suite

    if not isinstance(suite, str | os.PathLike):
        raise LutbenchError(f"{suite!r:.60} is not a path", where="suite", accepted="a path")
    named = [definitions] if isinstance(definitions, str | os.PathLike) else definitions
    if not all(
        isinstance(each, str | os.PathLike) for each in arguments.listed(named, "definitions")
    ):
        raise LutbenchError("are not paths", where="definitions", accepted="paths")
    read = read_suite(Path(suite), [Path(each) for each in named])
    chosen = read.selected(arguments.text(expression, "expression"), arguments.texts(tags, "tags"))
    return run_suite(read, chosen, SuiteRun(jobs=arguments.whole(jobs, "jobs", 1, 64)))


def _name(value: Any, kind: type[Curve | Gamut], what: str) -> str | None:
    """The name of a curve or gamut that is given by name or as an object."""
    if value is None:
        return None
    found = arguments.name_of(value, kind, what)
    return str(found if isinstance(found, str) else found.name)
