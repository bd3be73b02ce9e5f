"""File formats: one module a format, and `open_lut`, which tells them apart by content."""

from lutbench.formats.lutfile import LutFile
from lutbench.formats.open import open_lut, read_lut_file

__all__ = ["LutFile", "open_lut", "read_lut_file"]
