"""The figures of a report: each shows one thing about a LUT."""

from lutbench.report.figures.base import Figure

__all__ = ["Figure"]
