"""The kinds of findings, one idea a file, in the order of the examination."""

from lutbench.inspection.findings.banding import Banding
from lutbench.inspection.findings.channel_order import AxisOrder, ChannelOrder
from lutbench.inspection.findings.clipped import ClippedHighlights, ClippedShadows
from lutbench.inspection.findings.clipped_colours import ClippedColours
from lutbench.inspection.findings.coarse import CoarseValues
from lutbench.inspection.findings.constant import Constant
from lutbench.inspection.findings.domain_in_codes import DomainInCodes
from lutbench.inspection.findings.duplicate_nodes import DuplicateNodes
from lutbench.inspection.findings.enlarged import Enlarged
from lutbench.inspection.findings.false_colour import FalseColour
from lutbench.inspection.findings.fold import Fold, FoldInBlack
from lutbench.inspection.findings.hue_shift import HueShiftFound
from lutbench.inspection.findings.integer_values import IntegerValues
from lutbench.inspection.findings.inverse_of_title import InverseOfTitle
from lutbench.inspection.findings.legal_range import LegalRangeInput, LegalRangeOutput
from lutbench.inspection.findings.lifted_black import LiftedBlack
from lutbench.inspection.findings.monochrome import Monochrome
from lutbench.inspection.findings.noise import Noise, StrayNode
from lutbench.inspection.findings.non_monotonic import NonMonotonic
from lutbench.inspection.findings.out_of_range import OutOfRange
from lutbench.inspection.findings.stuck_values import StuckValues
from lutbench.inspection.findings.tint import Tint

FILE_FAULTS = (
    IntegerValues(),
    DomainInCodes(),
    Constant(),
    FalseColour(),
    StuckValues(),
    AxisOrder(),
    ChannelOrder(),
    InverseOfTitle(),
    DuplicateNodes(),
)
"""What a file turns out to be: looked for first."""

BUILT_IN = (
    *FILE_FAULTS,
    NonMonotonic(),
    Tint(),
    LegalRangeOutput(),
    LegalRangeInput(),
    ClippedHighlights(),
    ClippedShadows(),
    ClippedColours(),
    LiftedBlack(),
    Monochrome(),
    OutOfRange(),
    Fold(),
    FoldInBlack(),
    CoarseValues(),
    Noise(),
    StrayNode(),
    Banding(),
    Enlarged(),
    HueShiftFound(),
)
