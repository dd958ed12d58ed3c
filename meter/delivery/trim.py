"""How much lower a master must be so that it stays under the ceiling once encoded.

The decoded peak does not fall steadily with the level, so a trim counts only when every larger one up to
half a decibel more keeps under the ceiling too. What is tried again is what lies around the peaks; all of it
only with a trim that holds there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Self

import numpy as np

from meter.chain import Chain
from meter.delivery.align import joined
from meter.delivery.codecs import Float32s, Wish, decoded, encoded
from meter.delivery.progress import Tell
from meter.soundings import Soundings
from meter.units import Floats, amplitude_to_db, db_to_amplitude

STEP_DB: Final = 0.1
HELD_DB: Final = 0.5
MOST_TRIM_DB: Final = 20.0
NEAR_DB: Final = 1.0
"""Places that come so near the ceiling are tried again with each trim."""
LEAD_S: Final = 1.0
TAIL_S: Final = 0.5
MOST_PLACES: Final = 10
WHOLE_SHARE: Final = 0.5
"""Where the places are so much of the whole, the whole is tried again."""


@dataclass(frozen=True, slots=True, eq=False)
class Heights:
    """Of each 100 ms of what was decoded: first frame, frames, true peak (amplitude)."""

    first: np.ndarray
    frames: np.ndarray
    peak: Floats

    @classmethod
    def of(cls, rows: Soundings) -> Self:
        """What is needed of soundings."""
        peaks = rows["true_peak"].max(axis=1, initial=0.0)
        return cls(rows["start_frame"].copy(), rows["frames"].copy(), peaks)

    @classmethod
    def joined(cls, parts: Sequence[Self]) -> Self:
        """One after the other."""
        return cls(
            np.concatenate([one.first for one in parts]),
            np.concatenate([one.frames for one in parts]),
            np.concatenate([one.peak for one in parts]),
        )


def trim_for(
    frames: Float32s,
    rate_hz: int,
    wish: Wish,
    ceiling_dbtp: float,
    heights: Heights,
    tell: Tell,
    *,
    begin: float = 0.0,
) -> float | None:
    """The smallest trim that keeps under the ceiling, as do all larger ones up to half a decibel more.

    Parameters
    ----------
    frames : ndarray of float32, shape (n, channels)
        The master, at a rate that the encoder takes.
    heights : Heights
        Of what is decoded without a trim.
    tell : callable
    begin : float
        The share of the work that is done already.

    Returns
    -------
    float or None
        dB, above 0; None where 20 dB are not enough.
    """
    return _Search(frames, rate_hz, wish, ceiling_dbtp, heights, tell, begin).run()


class _Search:
    def __init__(
        self,
        frames: Float32s,
        rate_hz: int,
        wish: Wish,
        ceiling_dbtp: float,
        heights: Heights,
        tell: Tell,
        begin: float,
    ) -> None:
        self._frames, self._rate_hz, self._wish, self._ceiling_dbtp = frames, rate_hz, wish, ceiling_dbtp
        self._tell, self._share = tell, begin
        self._places = _places(heights, len(frames), rate_hz, ceiling_dbtp)
        self._peak_dbtp = amplitude_to_db(float(heights.peak.max(initial=0.0)))
        self._kept: dict[int, bool] = {}
        self._words = wish.title

    def run(self) -> float | None:
        """From a first guess upwards, in tenths of a decibel."""
        held, most = round(HELD_DB / STEP_DB), round(MOST_TRIM_DB / STEP_DB)
        tenths = round(max(self._peak_dbtp - self._ceiling_dbtp - HELD_DB, STEP_DB) / STEP_DB)
        while tenths <= most:
            against = next((k for k in range(tenths + held, tenths - 1, -1) if not self._is_under(k)), None)
            if against is not None:
                tenths = against + 1
                continue
            self._words = f"{self._wish.title}, all of it {tenths * STEP_DB:.1f} dB lower"
            if self._keeps_under(slice(0, len(self._frames)), tenths):
                return round(tenths * STEP_DB, 1)
            self._kept[tenths] = False
            tenths += 1
        return None

    def _is_under(self, tenths: int) -> bool:
        """Whether this trim keeps under the ceiling around all places; the first that does not ends it."""
        if tenths not in self._kept:
            self._words = f"{self._wish.title}, {tenths * STEP_DB:.1f} dB lower"
            self._kept[tenths] = all(self._keeps_under(part, tenths) for part in self._places)
        return self._kept[tenths]

    def _keeps_under(self, part: slice, tenths: int) -> bool:
        gain = db_to_amplitude(-tenths * STEP_DB)
        parts = self._frames[part]
        weight = len(parts) / max(len(self._frames), 1)
        data = encoded(
            parts, self._rate_hz, self._wish, gain=gain, tell=lambda share: self._go_on(0.1 * weight)
        )
        return self._stays_under(data)

    def _stays_under(self, data: bytes) -> bool:
        """Whether a file's true peak lies under the ceiling; what is over ends the reading."""
        limit = self._ceiling_dbtp
        with Chain(rate_hz=self._rate_hz, channels=self._frames.shape[1], low_end=False) as chain:
            for block in joined(decoded(data)):
                chain.process(block)
                self._go_on(0.001)
                if amplitude_to_db(float(chain.totals.true_peaks.max(initial=0.0))) > limit:
                    return False
            chain.flush()
            return amplitude_to_db(float(chain.totals.true_peaks.max(initial=0.0))) <= limit

    def _go_on(self, step: float) -> None:
        """How long it takes is not known: each piece of work brings it nearer to the end."""
        self._share += step * max(1.0 - self._share, 0.0)
        self._tell(self._words, self._share)


def _places(heights: Heights, frames: int, rate_hz: int, ceiling_dbtp: float) -> list[slice]:
    """Stretches around all that comes near the ceiling, the highest first."""
    # Of soundings, not overs: what goes over all the time is one over, and has its highest place anywhere.
    near = np.flatnonzero(heights.peak >= db_to_amplitude(ceiling_dbtp - NEAR_DB))
    found: list[slice] = []
    for row in near[np.argsort(-heights.peak[near], kind="stable")].tolist():
        first = int(heights.first[row])
        stop = first + int(heights.frames[row])
        if any(part.start + round(LEAD_S * rate_hz / 2) <= first and stop <= part.stop for part in found):
            continue
        start = max(first - round(LEAD_S * rate_hz), 0)
        found.append(slice(start, min(stop + round(TAIL_S * rate_hz), frames)))
        if len(found) == MOST_PLACES:
            break
    if sum(part.stop - part.start for part in found) >= WHOLE_SHARE * frames:
        return [slice(0, frames)]  # nothing is saved, and an encoder that begins elsewhere differs
    return found
