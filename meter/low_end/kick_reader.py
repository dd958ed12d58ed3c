"""Kicks of a stream: each hit found, and where its body settles.

Fed with the low signal (about 3 kHz) in pieces of any length; the same samples in any cutting give the same
hits.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from meter.dsp.filter_design import butterworth_band_pass
from meter.dsp.kick_body import BodyReader
from meter.dsp.kick_likeness import Likeness
from meter.dsp.kick_onsets import AFTER, NEIGHBOURS, OnsetFinder, step_frames
from meter.dsp.linear_filter import linear_filter
from meter.low_end.clock import LowClock
from meter.low_end.kick_records import Hit
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
FALL_S: Final = 0.060
QUIETEST_DBFS: Final = -60.0
"""A hit under this is none."""
HIGHEST_HZ: Final = 130.0
"""What settles above is a note or a drum of another kind."""
LEAST_LOW: Final = 0.4
"""And what leaves less than this behind, of the energy of its fall, is a drum with no low end."""
AT_ONCE: Final = 32
"""Hits that are looked at together."""
CHUNKS_AT_ONCE: Final = 6
"""Chunks that are looked at together where they have come: 8 s."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Whole:
    """A hit that has come to its end; the names are those of `Hit`."""

    at_s: float
    sound: Floats  # (2, frames): the middle, and its part of the fall
    stop: int
    sub_before_db: float
    sub_during_db: float
    sub_after_db: float | None
    fall_before: float


class KickReader:
    """Finds kicks.

    Parameters
    ----------
    clock : LowClock
        Of the low signal.
    sub_band_hz : tuple of float
        Where the sub's notes are.

    """

    def __init__(self, clock: LowClock, *, sub_band_hz: tuple[float, float] = SUB_BAND_HZ) -> None:
        rate_hz = clock.rate_hz
        self._clock, self._rate = clock, rate_hz
        self._b, self._a = butterworth_band_pass(2, sub_band_hz, rate_hz=rate_hz)
        self._bodies = BodyReader(rate_hz, sub_band_hz=sub_band_hz)
        self._past = round(PAST_S * rate_hz)
        self._fall = round(FALL_S * rate_hz)
        self._ahead = round(0.008 * rate_hz)
        spans = (BEFORE_S, DURING_S, AFTERWARDS_S)
        self._before, self._during, self._afterwards = (
            (round(first * rate_hz), round(stop * rate_hz)) for first, stop in spans
        )
        self._lag = (AFTER + NEIGHBOURS + 4) * step_frames(rate_hz)
        self._hits: list[Hit] = []
        self._whole: list[_Whole] = []
        self._begin(0)

    @property
    def hits(self) -> list[Hit]:
        """All so far, in order; 2 s late at most."""
        self._settle()
        return self._hits

    def _begin(self, index: int) -> None:
        self._index = index  # number of the first sample of what is looked at
        self._finder = OnsetFinder(self._rate)
        self._likeness = Likeness(self._rate)
        self._memory = np.zeros((1, len(self._a) - 1))
        self._room = np.empty((3, 0))  # kept: fresh memory takes longer than what comes into it
        self._rows = np.zeros((3, self._past))  # the middle, its part of the fall, the sub's band
        self._first = -self._past  # sample of the first column
        self._known = 0  # samples that the finder has taken
        self._waiting: list[tuple[int, float]] = []
        self._pending = np.zeros(0)
        self._came = 0

    def process(self, samples: Floats, first_index: int) -> None:
        """Take the low signal, shape (n, 2), any n: left and right. See `LowEndAnalysis.process`."""
        if self._came == 0:
            self._index = first_index
        self._came += len(samples)
        self._take_all(0.5 * (samples[:, 0] + samples[:, -1]))

    def _take_all(self, middle: Floats) -> None:
        pending = np.concatenate([self._pending, middle])
        chunk = self._finder.chunk_frames
        whole = len(pending) // chunk * chunk
        for start in range(0, whole, CHUNKS_AT_ONCE * chunk):
            self._take(pending[start : min(start + CHUNKS_AT_ONCE * chunk, whole)])
        self._pending = pending[whole:]

    def gap(self) -> None:
        """What comes next does not follow: no hit holds sound of both sides."""
        self.flush()

    def flush(self) -> None:
        """The stream is over: what is still being looked at ends in silence."""
        if self._came == 0:
            return
        chunk = self._finder.chunk_frames
        self._take_all(np.zeros(-len(self._pending) % chunk + 2 * chunk))
        self._read(is_last=True)
        self._begin(0)

    def _take(self, middle: Floats) -> None:
        """Take whole chunks: filtered and looked at together, and told one after the other."""
        kept = self._rows.shape[1]
        if kept + len(middle) > self._room.shape[1]:
            self._room = np.empty((3, kept + len(middle)))
        rows = self._room[:, : kept + len(middle)]
        rows[:, :kept] = self._rows
        rows[0, kept:], rows[1, kept:] = middle, self._likeness.filtered(middle)
        sub, self._memory = linear_filter(self._b, self._a, middle[None], self._memory)
        rows[2, kept:] = sub[0]
        self._rows = rows
        first = self._first  # of what would be kept if the chunks came one by one: sums begin there
        for starts, scores in self._finder.process(middle):
            self._known += self._finder.chunk_frames
            sound = rows[1, first - self._first : self._known - self._first]
            surer = self._likeness.surer(sound, starts - (self._likeness.before_frames + first), scores)
            for at, sure in surer:
                if sure > 0.0:
                    self._wait(int(starts[at]), sure)
            self._read(is_last=False)
            keep = self._waiting[0][0] if self._waiting else self._known - self._lag
            first = max(keep - self._past, first)
        self._rows, self._first = rows[:, first - self._first :], first

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
            self._whole.append(self._whole_hit(at, following))
        if len(self._whole) >= AT_ONCE:
            self._settle()

    def _whole_hit(self, at: int, following: int) -> _Whole:
        start = at - self._bodies.before_frames - self._first
        before = self._rows[1, at - self._first - self._fall : at - self._first]
        has_room = following - at > AFTERWARDS_S[1] * self._rate
        return _Whole(
            at_s=self._clock.at_s(self._index + at),
            sound=self._rows[:2, start : start + self._bodies.frames].copy(),
            stop=following - at + self._bodies.before_frames - self._ahead,
            sub_before_db=self._sub_db(at, self._before),
            sub_during_db=self._sub_db(at, self._during),
            sub_after_db=self._sub_db(at, self._afterwards) if has_room else None,
            fall_before=float(before @ before),
        )

    def _settle(self) -> None:
        """Look at the hits that are all there; many at once take little more than one."""
        whole, self._whole = self._whole, []
        if not whole:
            return
        sounds = np.stack([one.sound for one in whole])
        bodies = self._bodies.read(sounds[:, 0], sounds[:, 1], np.array([one.stop for one in whole]))
        for one, body in zip(whole, bodies, strict=True):
            is_low = body.hz is None or body.hz <= HIGHEST_HZ
            is_low = is_low and body.energy > LEAST_LOW * (body.fall_energy - one.fall_before)
            if is_low and body.level_dbfs >= QUIETEST_DBFS:
                self._hits.append(
                    Hit(
                        at_s=one.at_s,
                        body=body,
                        sub_before_db=one.sub_before_db,
                        sub_during_db=one.sub_during_db,
                        sub_after_db=one.sub_after_db,
                        fall_before=one.fall_before,
                    )
                )

    def _sub_db(self, at: int, span: tuple[int, int]) -> float:
        here = at - self._first
        part = self._rows[2, max(here + span[0], 0) : here + span[1]]
        return power_to_db(2.0 * float(part @ part) / max(len(part), 1))
