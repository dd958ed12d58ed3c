"""Kicks of a stream: each hit found, and where its body settles.

Fed with the low signal (about 3 kHz) in pieces of any length; the same samples in any cutting give the same hits.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import signal

from meter.dsp.kick_body import Body, BodyReader
from meter.dsp.kick_likeness import Likeness
from meter.dsp.kick_onsets import AFTER, NEIGHBOURS, OnsetFinder, step_frames
from meter.dsp.linear_filter import linear_filter
from meter.units import Floats, power_to_db

SUB_BAND_HZ: Final = (30.0, 70.0)
"""Where a sub's notes are: about B0 to C♯2. Common practice, no source."""
NEAREST_S: Final = 0.06
"""Of two beginnings nearer than this one counts."""
PAST_S: Final = 0.2
"""How much of the low signal is kept before what is being looked at."""
BEFORE_S: Final = (-0.060, -0.005)
DURING_S: Final = (0.030, 0.100)
AFTERWARDS_S: Final = (0.190, 0.260)
"""Where the sub's level is read, from the beginning of a hit."""
ALONE_DB: Final = 20.0
"""A hit is alone where the sub's band is so far under it before and after."""
QUIETEST_DBFS: Final = -60.0
"""A hit under this is none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Hit:
    """One kick.

    Attributes
    ----------
    at_s : float
        Where it begins, since the start of the stream; within 8 ms.
    body : Body
        What it is like.
    sub_before_db, sub_during_db, sub_after_db : float
        Level of the sub's band around it (the hit's own part is in `sub_during_db`); after it None where the
        next hit comes too soon.
    """

    at_s: float
    body: Body
    sub_before_db: float
    sub_during_db: float
    sub_after_db: float | None

    @property
    def is_alone(self) -> bool:
        """Whether nothing sounds in the sub's band before and after it."""
        far_db = self.body.level_dbfs - ALONE_DB
        return self.sub_before_db < far_db and self.sub_after_db is not None and self.sub_after_db < far_db


class KickReader:
    """Finds kicks.

    Parameters
    ----------
    rate_hz : float
        Of the low signal.
    late_s : float
        How late the low signal is against the stream that it comes from.
    sub_band_hz : tuple of float
        Where the sub's notes are.

    Attributes
    ----------
    hits : list of Hit
        All so far, in order; 0.7 s late at most.
    """

    def __init__(
        self, rate_hz: float, *, late_s: float = 0.0, sub_band_hz: tuple[float, float] = SUB_BAND_HZ
    ) -> None:
        self._rate, self._late_s, self._band = rate_hz, late_s, sub_band_hz
        self._b, self._a = signal.butter(1, sub_band_hz, "bandpass", fs=rate_hz)
        self._bodies = BodyReader(rate_hz, sub_band_hz=sub_band_hz)
        self._past = round(PAST_S * rate_hz)
        self._lag = (AFTER + NEIGHBOURS + 4) * step_frames(rate_hz)
        self.hits: list[Hit] = []
        self.reset()

    def reset(self) -> None:
        """Start anew, as after a gap: no hit holds sound of both sides. Hits so far are kept."""
        self._finder = OnsetFinder(self._rate)
        self._likeness = Likeness(self._rate)
        self._memory = np.zeros((1, 2))
        self._rows = np.zeros((3, self._past))  # the middle, what is compared, the sub's band
        self._first = -self._past  # sample of the first column
        self._known = 0  # samples that the finder has taken
        self._waiting: list[tuple[int, float]] = []
        self._pending = np.zeros(0)

    def process(self, low: Floats) -> None:
        """Take the low signal, shape (2, n), any n: left and right."""
        self._pending = np.concatenate([self._pending, 0.5 * (low[0] + low[-1])])
        chunk = self._finder.chunk_frames
        whole = len(self._pending) // chunk * chunk
        for start in range(0, whole, chunk):
            self._take(self._pending[start : start + chunk])
        self._pending = self._pending[whole:]

    def flush(self) -> None:
        """The stream is over: what is still being looked at ends in silence."""
        chunk = self._finder.chunk_frames
        silence = -len(self._pending) % chunk + 3 * chunk
        self._pending = np.concatenate([self._pending, np.zeros(silence)])
        self.process(np.zeros((2, 0)))
        self._read(is_last=True)

    def _take(self, middle: Floats) -> None:
        sub, self._memory = linear_filter(self._b, self._a, middle[None], self._memory)
        new = np.stack([middle, self._likeness.filtered(middle), sub[0]])
        self._rows = np.concatenate([self._rows, new], axis=1)
        found = self._finder.process(middle)
        self._known += len(middle)
        for at, score in found:
            start = at - self._likeness.before_frames - self._first
            piece = self._rows[1, start : start + self._likeness.frames]
            sure = self._likeness.surer(piece, score)
            if sure > 0.0:
                self._wait(at, sure)
        self._read(is_last=False)
        keep = self._waiting[0][0] if self._waiting else self._known - self._lag
        drop = max(keep - self._past - self._first, 0)
        self._rows, self._first = self._rows[:, drop:], self._first + drop

    def _wait(self, at: int, score: float) -> None:
        """Keep a beginning until all of the hit is there; of two that lie together, the surer one."""
        if self._waiting and at - self._waiting[-1][0] < NEAREST_S * self._rate:
            if score > self._waiting[-1][1]:
                self._waiting[-1] = at, score
            return
        self._waiting.append((at, score))

    def _read(self, *, is_last: bool) -> None:
        until = self._known - self._lag - self._bodies.frames
        while self._waiting and (is_last or self._waiting[0][0] <= until):
            at, _ = self._waiting.pop(0)
            following = self._waiting[0][0] if self._waiting else at + 2 * self._bodies.frames
            hit = self._hit(at, following)
            if hit.body.level_dbfs >= QUIETEST_DBFS:
                self.hits.append(hit)

    def _hit(self, at: int, following: int) -> Hit:
        start = at - self._bodies.before_frames - self._first
        piece = self._rows[0, start : start + self._bodies.frames]
        stop = following - at + self._bodies.before_frames - round(0.008 * self._rate)
        body = self._bodies.read(piece, self._rows[1, start : start + self._bodies.frames], stop_frames=stop)
        has_room = following - at > AFTERWARDS_S[1] * self._rate
        return Hit(
            at_s=at / self._rate - self._late_s,
            body=body,
            sub_before_db=self._sub_db(at, BEFORE_S),
            sub_during_db=self._sub_db(at, DURING_S),
            sub_after_db=self._sub_db(at, AFTERWARDS_S) if has_room else None,
        )

    def _sub_db(self, at: int, span_s: tuple[float, float]) -> float:
        first, stop = (at + round(s * self._rate) - self._first for s in span_s)
        part = self._rows[2, max(first, 0) : max(stop, 0)]
        return power_to_db(2.0 * float(part @ part) / max(len(part), 1))
