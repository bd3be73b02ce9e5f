"""Whether a curve can be used in a transform."""

from __future__ import annotations

import numpy as np

from lutbench.model.curves.base import Curve

ROUND_TRIP_SIGNAL = 1 / 1023
"""Signal, one 10-bit code: a curve whose round trip is further off is quantised or clamped."""


def falls(curve: Curve) -> str:
    """Where the curve falls by more than rounding, in words; empty if it never does.

    A formula whose parts do not quite meet may fall there, by less than a 10-bit code;
    the inverse of such a curve is not exact at that point.
    """
    low, high = curve.ends
    signal = np.linspace(low, high, 1 << 15)
    light = np.r_[0.0, np.geomspace(1e-5, 16.0, 1 << 14)]
    decoded, encoded = np.diff(curve.decode(signal)), np.diff(curve.encode(light))
    found = []
    if (encoded < -1e-9).any():
        at = int(encoded.argmin())
        codes = -1023 * encoded[at]
        found.append(f"the signal falls by {codes:.2f} 10-bit codes at light {light[at]:.3g}")
    if (decoded < -1e-9).any():
        at = int(decoded.argmin())
        found.append(f"decoded light falls by {-decoded[at]:.1g} at {100 * signal[at]:.1f} %")
    return "; ".join(found)


def why_unusable(curve: Curve) -> str:
    """Why the curve cannot be used; empty if it can.

    A usable curve decodes the signals of all codes to finite, rising light, and encodes
    that light back to within one 10-bit code.
    """
    low, high = curve.ends
    signal = np.linspace(low, high, 1024)
    light = curve.decode(signal)
    if not np.isfinite(light).all():
        return f"decoding is not finite on signal {low:.3g}..{high:.3g}"
    steps = np.diff(light)
    if (steps < 0).any():
        at = signal[int(np.argmax(steps < 0))]
        return f"not monotone: decoded light falls at signal {at:.3f}"
    if (steps == 0).sum() > 1:
        at = signal[int(np.argmax(steps == 0))]
        return f"no inverse: decoded light does not rise at signal {at:.3f}"
    back = curve.encode(light)
    if not np.isfinite(back).all():
        return "no inverse: encoding is not finite for the light that its signals decode to"
    error = np.abs(back - signal)
    if error.max() > ROUND_TRIP_SIGNAL:
        return (
            f"quantised or clamped: signal {signal[int(error.argmax())]:.3f} comes back "
            f"{error.max() * 1023:.0f} 10-bit codes off"
        )
    return ""
