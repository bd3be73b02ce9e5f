"""Signal ranges against the Recommendations."""

from __future__ import annotations

import colour
import numpy as np
import pytest

from lutbench.errors import LutbenchError
from lutbench.model.signal import (
    BIT_DEPTHS,
    RangeFromSignal,
    SignalFromRange,
    check_range,
    code_from_signal,
    range_of,
    signal_from_code,
)


@pytest.mark.parametrize("bits", BIT_DEPTHS)
def test_legal_codes_agree_with_colour_science(bits: int) -> None:
    signal = np.linspace(0, 1, 11)
    # colour-science: full-scale values of a legal signal
    reference = colour.models.full_to_legal(signal, bits) * (2**bits - 1)
    assert code_from_signal(signal, bits, "legal") == pytest.approx(reference, rel=1e-12)


def test_published_codes() -> None:
    # Recommendation ITU-R BT.709-6, item 5.6: 10-bit black 64, peak 940; super-white to 1019
    assert range_of(10, "legal") == (64, 940)
    assert range_of(8, "legal") == (16, 235)
    assert 100 * signal_from_code(1019, 10, "legal") == pytest.approx(109.0, abs=0.05)


def test_headroom() -> None:
    assert code_from_signal([-0.2, 1.2], 10, "legal").tolist() == [0, 1023]
    assert code_from_signal([-0.2, 1.2], 10, "legal", headroom=False).tolist() == [64, 940]
    assert signal_from_code([0, 1023], 10, "legal") == pytest.approx([-64 / 876, 959 / 876])


@pytest.mark.parametrize("bits", BIT_DEPTHS)
@pytest.mark.parametrize("name", ["full", "legal"])
def test_ranges_as_transforms(bits: int, name: str) -> None:
    rgb = np.random.default_rng(2).random((7, 3)) * 1.4 - 0.2
    step = SignalFromRange(check_range(name), bits)
    assert step.inverse() == RangeFromSignal(check_range(name), bits)
    assert (step | step.inverse()).apply(rgb) == pytest.approx(rgb, abs=1e-14)


def test_what_is_no_range_or_depth() -> None:
    with pytest.raises(LutbenchError, match="accepted: full, legal"):
        check_range("video")
    with pytest.raises(LutbenchError, match="accepted: 8, 10, 12, 16"):
        range_of(9, "full")
