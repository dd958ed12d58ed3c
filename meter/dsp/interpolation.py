"""The waveform in chosen stretches of a stream: samples, and the points between them.

Each block of each channel is a row, each row is cut into lines of equal length, and one matrix
product gives the waveform in some of them. Only lines in which a peak may be are worked out
(`meter.dsp.peak_places`). A line gives the same bits wherever it stands in a product, so any cutting
of the signal does.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from meter.dsp.interpolator import TAPS, interpolating_filters

Float32s = npt.NDArray[np.float32]
Ints = npt.NDArray[np.int64]

PAST_FRAMES: Final = TAPS
"""Frames before the newest ones that the lines are made of too."""

CENTRE: Final = TAPS // 2
"""Where the first sample of a line stands among the samples that the line is made of."""

LINE_FRAMES: Final = 16
"""Frames in a line: short, so that little is worked out in vain; sixteen flags are two words."""

_TOGETHER: Final = 8
"""Lines in one product. With more of them some kernels add up in another order from one line to the next."""

_AT_ONCE: Final = 96
"""Products whose lines are brought together at once, so that they stay in the nearest memory."""


class Interpolation:
    """Turns samples around a line into the waveform in it.

    A wave is: the last point before the line, each sample with the points that follow it, and the
    sample behind the line; `width` values.

    Parameters
    ----------
    factor : int
        Oversampling, 2 or 4.
    """

    def __init__(self, factor: int) -> None:
        self.width = LINE_FRAMES * factor + 2
        filters = interpolating_filters(factor)
        kernel = np.zeros((LINE_FRAMES + TAPS, self.width), np.float32)
        kernel[:TAPS, 0] = filters[-1]
        for frame in range(LINE_FRAMES):
            kernel[CENTRE + frame, 1 + frame * factor] = 1.0  # as it is: the products by 0 add nothing
            for phase, taps in enumerate(filters):
                kernel[frame + 1 : frame + 1 + TAPS, 2 + frame * factor + phase] = taps
        kernel[CENTRE + LINE_FRAMES, -1] = 1.0
        self._kernel = kernel
        self._lines = np.zeros((_AT_ONCE, _TOGETHER, len(kernel)), np.float32)
        self._waves = np.empty((0, _TOGETHER, self.width), np.float32)
        self._seen: Float32s | None = None
        self._views: Float32s = np.empty((0, 0), np.float32)

    def waves(self, source: Float32s, channels: Ints, starts: Ints) -> Float32s:
        """The waveform in some lines.

        Parameters
        ----------
        source : ndarray of float32, shape (channels, frames), contiguous in each channel
        channels : ndarray of int, shape (n,)
            The channel of each line.
        starts : ndarray of int, shape (n,)
            Where in the source the samples that a line is made of begin, `CENTRE` before its first.

        Returns
        -------
        ndarray of float32, shape (n, width)
            A view of a buffer that the next call overwrites.
        """
        count = len(starts)
        products = -(-count // _TOGETHER)
        self._reserve(products)
        views = self._views_of(source)
        places = starts + channels * (source.strides[0] // source.itemsize)
        lines = self._lines.reshape(-1, views.shape[1])
        for first in range(0, products, _AT_ONCE):
            last = min(first + _AT_ONCE, products)
            part = places[first * _TOGETHER : last * _TOGETHER]
            lines[: len(part)] = views[part]  # what is left of the last product holds older lines
            np.matmul(self._lines[: last - first], self._kernel, out=self._waves[first:last])
        return self._waves.reshape(-1, self.width)[:count]

    def _views_of(self, source: Float32s) -> Float32s:
        """Every stretch that a line can be made of; kept while the source is the same array."""
        if source is not self._seen:
            item, around = source.itemsize, len(self._kernel)
            count = (len(source) - 1) * (source.strides[0] // item) + source.shape[1] - around + 1
            self._views = np.lib.stride_tricks.as_strided(source, (count, around), (item, item))
            self._seen = source
        return self._views

    def _reserve(self, products: int) -> None:
        """Kept from call to call: fresh memory of this size costs more than the arithmetic on it."""
        if len(self._waves) < products:  # twice as much, since a little more may come each time
            self._waves = np.empty((2 * products, _TOGETHER, self.width), np.float32)
