"""Whether a beginning sounds like the kicks before it.

A kick comes again and again as the same sample, so its first 75 ms look the same each time, whatever lies
under it. Up to four kinds of hit are remembered, as the mean of what was taken for a kick.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from meter.dsp.filter_design import butterworth_band_pass
from meter.dsp.linear_filter import linear_filter
from meter.units import Floats

BAND_HZ: Final = (110.0, 420.0)
"""What is compared: mostly the fall, little of the bass under it."""
BEFORE_S: Final = 0.008
LENGTH_S: Final = 0.075
SHIFT_S: Final = 0.0065
"""A beginning is known to a few milliseconds: so far the two are moved against each other."""
KINDS: Final = 4
SAME: Final = 0.6
"""A likeness from which on a hit is one more of a kind."""
WORTH: Final = 12.0
MOST: Final = 5.0
"""What likeness adds to a score: so much for each unit over `SAME`, and at most so much."""
SURE: Final = 0.75
"""A score from which on a hit is remembered."""
UNSUPPORTED: Final = 0.75
"""What a score loses while too few hits are remembered."""
ENOUGH: Final = 3
"""Hits that must be remembered before likeness counts."""
OLDEST: Final = 8
"""A kind is the mean of so many, the newest weighing most."""


class Likeness:
    """Scores of beginnings, made surer by the kicks before.

    Parameters
    ----------
    rate_hz : float
        Of the low signal.
    """

    def __init__(self, rate_hz: float) -> None:
        self._b, self._a = butterworth_band_pass(1, BAND_HZ, rate_hz=rate_hz)
        self._memory = np.zeros((1, 2))
        self.before_frames = round((BEFORE_S + SHIFT_S) * rate_hz)
        self._length = round(LENGTH_S * rate_hz)
        self._shift = round(SHIFT_S * rate_hz)
        self.frames = self._length + 2 * self._shift
        self._shifts = np.arange(2 * self._shift + 1)
        self._window = np.concatenate(
            [np.hanning(2 * round(0.004 * rate_hz))[: round(0.004 * rate_hz)], np.ones(self._length)]
        )[: self._length]
        fade = self._length // 4
        self._window[-fade:] = np.linspace(1.0, 0.0, fade)
        self._kinds: list[Floats] = []
        self._counts: list[int] = []
        self._taken = 0  # in all kinds

    def filtered(self, samples: Floats) -> Floats:
        """The part of the low signal that is compared, of any number of new samples."""
        out, self._memory = linear_filter(self._b, self._a, samples[None], self._memory)
        return np.asarray(out[0], np.float64)

    def surer(
        self, sound: Floats, starts: npt.NDArray[np.intp], scores: Floats
    ) -> list[tuple[int, float]]:
        """The scores of beginnings, with what is known of those before them; remembers them.

        Parameters
        ----------
        sound : ndarray, shape (n,)
            Filtered samples.
        starts : ndarray, shape (k,)
            Where the piece of each begins, `before_frames` before it; in order.
        scores : ndarray, shape (k,)
            By their looks alone.

        Returns
        -------
        list of (int, float)
            Which, and its score; without those that nothing could make a kick.
        """
        looked = np.flatnonzero(scores > -MOST)
        if len(looked) == 0:
            return []
        energy = np.empty(len(sound) + 1)
        energy[0] = 0.0
        np.cumsum(sound * sound, out=energy[1:])
        firsts = starts[looked]
        places = firsts[:, None] + self._shifts
        norms = np.sqrt(np.maximum(energy[places + self._length] - energy[places], 1e-20))
        made = []
        for at, start, score, norm in zip(
            looked.tolist(), firsts.tolist(), scores[looked].tolist(), norms, strict=True
        ):
            piece = sound[start : start + self.frames]
            best, kind, shift = 0.0, -1, 0
            for k, known in enumerate(self._kinds):
                likes = np.correlate(piece, known) / norm
                own_shift = int(likes.argmax())
                if (like := likes.item(own_shift)) > best:
                    best, kind, shift = like, k, own_shift
            if self._taken >= ENOUGH:
                score += min(max(WORTH * (best - SAME), -MOST), MOST)
            else:
                score -= UNSUPPORTED
            if score > SURE:
                self._remember(piece, kind if best > SAME else -1, shift)
            made.append((at, score))
        return made

    def _remember(self, piece: Floats, kind: int, shift: int) -> None:
        if kind < 0 and len(self._kinds) == KINDS:
            return
        self._taken += 1
        at = shift if kind >= 0 else self._shift
        mine = piece[at : at + self._length] * self._window
        mine = mine / max(float(np.sqrt(mine @ mine)), 1e-20)
        if kind < 0:
            self._kinds.append(mine)
            self._counts.append(1)
            return
        mean = self._kinds[kind] * min(self._counts[kind], OLDEST) + mine
        self._kinds[kind] = mean / float(np.sqrt(mean @ mean))
        self._counts[kind] += 1
