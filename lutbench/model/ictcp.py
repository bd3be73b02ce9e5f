"""ICtCp of PQ: Recommendation ITU-R BT.2100-2, table 7."""

from __future__ import annotations

import numpy as np

from lutbench.model.curves.hdr import pq_luminance, pq_signal
from lutbench.model.gamuts import BT2020, Gamut, adaptation_matrix
from lutbench.model.transforms import Array

LMS_FROM_BT2020 = np.array([[1688, 2146, 262], [683, 2951, 462], [99, 309, 3688]]) / 4096
ICTCP_FROM_LMS = np.array([[2048, 2048, 0], [6610, -13613, 7003], [17933, -17390, -543]]) / 4096
_LMS_FROM_ICTCP = np.linalg.inv(ICTCP_FROM_LMS)


def bt2020_matrix(gamut: Gamut) -> Array:
    """Linear R, G, B of a gamut to those of BT.2020, white to white, shape (3, 3)."""
    if gamut.primaries == BT2020.primaries and gamut.white == BT2020.white:
        return np.eye(3)
    adapt = adaptation_matrix(gamut.white, BT2020.white)
    return np.asarray(np.linalg.solve(BT2020.to_xyz, adapt @ gamut.to_xyz))


def ictcp_from_bt2020(rgb: Array) -> Array:
    """I, Ct, Cp of display light in BT.2020, in cd/m², shape (..., 3); no light under zero.

    >>> ictcp_from_bt2020(np.array([100.0, 100.0, 100.0])).round(4).tolist()
    [0.5081, 0.0, 0.0]
    """
    return np.asarray(pq_signal(rgb @ LMS_FROM_BT2020.T) @ ICTCP_FROM_LMS.T)


def bt2020_from_ictcp(ictcp: Array) -> Array:
    """Display light in BT.2020, in cd/m²: the inverse of `ictcp_from_bt2020`."""
    lms = pq_luminance(ictcp @ _LMS_FROM_ICTCP.T)
    return np.asarray(lms @ np.linalg.inv(LMS_FROM_BT2020).T)
