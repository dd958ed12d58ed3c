"""The low end: sub notes, kicks, and what a mono system makes of it.

Everything here works on the signal at about 3 kHz (`meter.low_end.stream`), live in a thread of its own
(`meter.low_end.live`) and for a file beside the other measures. `LowEndAnalysis` gives each part what comes,
and `LowEnd` is what they found.
"""

from meter.low_end.analysis import LowEndAnalysis
from meter.low_end.records import LowEnd
from meter.low_end.settings import LowEndSettings

__all__ = ["LowEnd", "LowEndAnalysis", "LowEndSettings"]
