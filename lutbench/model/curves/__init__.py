"""Transfer curves: light to signal and back."""

from lutbench.model.curves.base import MID_GREY, Curve, Decode, Encode

__all__ = ["MID_GREY", "Curve", "Decode", "Encode"]
