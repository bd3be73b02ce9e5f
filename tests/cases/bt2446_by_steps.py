"""Methods A and C of Report ITU-R BT.2446, one colour at a time, each step by itself.

The constants are from memory of the Report.
"""

from __future__ import annotations

import math

import numpy as np


def method_a(rgb: list[float], source: float, target: float) -> list[float]:
    """The Report's steps in their order, with Y'CbCr as BT.2020-2, table 4, defines it."""
    r, g, b = (max(v / source, 0) ** (1 / 2.4) for v in rgb)
    y = 0.2627 * r + 0.6780 * g + 0.0593 * b
    cb, cr = (b - y) / 1.8814, (r - y) / 1.4746
    rho = 1 + 32 * (source / 10000) ** (1 / 2.4)
    yp = math.log(1 + (rho - 1) * y) / math.log(rho)
    if yp <= 0.7399:
        yc = 1.0770 * yp
    elif yp < 0.9909:
        yc = -1.1510 * yp**2 + 2.7811 * yp - 0.6302
    else:
        yc = 0.5 * yp + 0.5
    rho = 1 + 32 * (target / 10000) ** (1 / 2.4)
    ysdr = (rho**yc - 1) / (rho - 1)
    f = ysdr / (1.1 * y)
    cb, cr = f * cb, f * cr
    ytmo = ysdr - max(0.1 * cr, 0)
    r, b = ytmo + 1.4746 * cr, ytmo + 1.8814 * cb
    g = (ytmo - 0.2627 * r - 0.0593 * b) / 0.6780
    return [math.copysign(abs(v) ** 2.4, v) * target for v in (r, g, b)]


def method_c(rgb: list[float], alpha: float) -> list[float]:
    """Crosstalk, Yxy, tone, RGB again, crosstalk undone: each as its own step."""
    matrix = np.full((3, 3), alpha) + (1 - 3 * alpha) * np.eye(3)
    mixed = matrix @ np.array(rgb)
    weights = np.array([0.2627, 0.6780, 0.0593])
    y = float(weights @ mixed)
    joint = 58.5 / 0.83802
    out = 0.83802 * y if y < joint else 15.09968 * math.log(y / joint - 0.74204) + 78.99439
    return list(np.linalg.inv(matrix) @ (mixed * out / y))
