"""A sink that keeps all that a chain or a stream hands on of the low end."""

import numpy as np


class Kept:
    """Pieces as they came, joined where they follow on each other."""

    def __init__(self):
        self.pieces = []  # (first index, samples)
        self.gaps = 0
        self.flushes = 0
        self._is_new = True

    def process(self, samples, first_index):
        if self._is_new or not self.pieces:
            self.pieces.append((first_index, samples.copy()))
        else:
            first, before = self.pieces[-1]
            assert first_index == first + len(before), "what comes does not follow on"
            self.pieces[-1] = first, np.concatenate([before, samples])
        self._is_new = False

    def gap(self):
        self.gaps += 1
        self._is_new = True

    def flush(self):
        self.flushes += 1
