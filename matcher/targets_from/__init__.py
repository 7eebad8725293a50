"""Targets from elsewhere: instrument files in open formats, typed CIELAB and Munsell notation become Readings.

Stands beside the photograph's flow and meets it at the Reading (D50, 2 degrees, with its own uncertainty).
"""

from matcher.targets_from.files import read_targets
from matcher.targets_from.measured import Measured, Sample, lab_reading
from matcher.targets_from.munsell import munsell_reading

__all__ = ["Measured", "Sample", "lab_reading", "munsell_reading", "read_targets"]
