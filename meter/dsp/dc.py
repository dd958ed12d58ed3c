"""The constant part of a signal: the mean of its samples, per channel.

Source
------
ITU-R BS.1770-5 (11/2023), attachment to Annex 2 (informative): a meter of overload must keep DC. What
is measured here is the mean over whole blocks; it is steady only over seconds, since a block of 50 ms
holds parts of slow waves.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import numpy.typing as npt

Float32s = npt.NDArray[np.float32]


def sums(planar: Float32s, *, blocks: int) -> Float32s:
    """Sum of the samples of each block.

    Parameters
    ----------
    planar : ndarray of float32, shape (channels, n)
        Samples of `blocks` blocks of one length.

    Returns
    -------
    ndarray, shape (blocks, channels)
    """
    parts = planar.reshape(len(planar), blocks, -1)
    # A product with ones is three times as fast as a sum.
    found: Float32s = np.vecdot(parts, _ones(parts.shape[2])).T
    return found


@lru_cache(maxsize=8)
def _ones(count: int) -> Float32s:
    return np.ones(count, np.float32)
