"""How high the waveform can stand between two samples, told from the samples alone.

A point between two samples is the straight line between them, plus second differences around it
weighed by what is left of the filter once the line is taken out: filter - line = (1, -2, 1) * rest.
So its magnitude is at most that of the higher sample, plus the largest second difference within the
filter times the sum of the magnitudes of the rest. Bass moves little from sample to sample, so most
points of music cannot reach the peak of their block and need not be worked out.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np

from meter.dsp.interpolator import TAPS, interpolating_filters

_LEFT: Final = TAPS // 2 - 1
_ROUNDING: Final = 1e-4
"""What float32 arithmetic may add, as a share; many times what it does."""


@dataclass(frozen=True, slots=True)
class Bound:
    """A point is at most ``height`` · the higher neighbour + ``bend`` · the largest second difference.

    The largest of those between the samples that the point is made of.
    """

    height: float
    bend: float


@lru_cache(maxsize=2)
def bound(factor: int) -> Bound:
    """The bound for all points between two samples.

    Parameters
    ----------
    factor : int
        Oversampling, 2 or 4.

    Source
    ------
    Summation by parts, twice: the cumulative sums of a sequence whose sum and first moment are zero
    end at zero. What the filter lacks of that (its gain at 0 Hz is not exactly 1) is put on the neighbours.
    """
    bend = height = 0.0
    for phase, taps in enumerate(interpolating_filters(factor)):
        share = (phase + 1) / factor
        left = taps.copy()
        left[_LEFT] -= 1.0 - share
        left[_LEFT + 1] -= share
        moment = float(left @ (np.arange(TAPS) - _LEFT))
        lacking = float(left.sum()) - moment, moment
        left[_LEFT : _LEFT + 2] -= lacking
        bend = max(bend, float(np.abs(np.cumsum(np.cumsum(left))).sum()))
        height = max(height, 1.0 + abs(lacking[0]) + abs(lacking[1]))
    return Bound(height + _ROUNDING, bend * (1.0 + _ROUNDING))
