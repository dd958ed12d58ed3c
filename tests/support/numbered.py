"""Frames that carry their own number."""

import numpy as np


def numbered(start, count, channels=2):
    """Frames that carry their own number, each channel in a way of its own."""
    numbers = np.arange(start, start + count, dtype=np.float32)[:, None]
    return np.ascontiguousarray(numbers + 0.25 * np.arange(channels, dtype=np.float32))
