"""A- and C-weighted levels of the signal, second by second and for each ear. In the signal, not at the ear.

Levels are against a sine of full scale: mean squares are doubled, so that such a sine at 1 kHz is 0 dB.
Headphones: the left channel is one ear and the right one the other; they are never added up.

Source
------
IEC 61672-1:2013 for the weightings, F and S (`meter.dsp.sound_weighting`); IEC 61252 for the sums that a
dose is made of (not seen).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from meter.dsp.sound_weighting import SoundWeighting, TimeWeighting
from meter.standards import iec_61672_1_2013 as iec
from meter.units import Floats, Samples, amplitude_to_db, power_to_db

SINE: Final = 2.0
"""Mean squares times this are against a full-scale sine."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HeardSecond:
    """One second, or less at the end; mean squares against a full-scale sine, of left and right ear.

    Attributes
    ----------
    seconds : float
    a_power, c_power : tuple of float
        Equivalent over this second, A- and C-weighted.
    a_fast, a_slow : float
        Highest A-weighted mean square by F and by S, of the louder ear; 0 where they were not wanted.
    c_peak : float
        Highest C-weighted sample, against full scale.
    """

    seconds: float
    a_power: tuple[float, float]
    c_power: tuple[float, float]
    a_fast: float
    a_slow: float
    c_peak: float

    @property
    def laeq_db(self) -> float:
        """A-weighted level of the louder ear, dB against a full-scale sine."""
        return power_to_db(max(self.a_power))

    @property
    def lceq_db(self) -> float:
        """C-weighted level of the louder ear."""
        return power_to_db(max(self.c_power))

    @property
    def peak_db(self) -> float:
        """C-weighted peak."""
        return amplitude_to_db(self.c_peak)


class SoundLevels:
    """Makes seconds of a stream.

    Parameters
    ----------
    rate_hz, channels : int
        A single channel is heard by both ears; of more than two the first two are taken.
    moves : bool
        Also F and S; a third of the work.
    """

    def __init__(self, *, rate_hz: int, channels: int, moves: bool = True) -> None:
        self._moves = moves
        self._rate_hz = rate_hz
        self._ears = min(channels, 2)
        self._a_of_c = SoundWeighting("A of C", rate_hz=rate_hz, channels=self._ears)
        self._c = SoundWeighting("C", rate_hz=rate_hz, channels=self._ears)
        self._fast = TimeWeighting(iec.F_S, rate_hz=rate_hz, channels=self._ears)
        self._slow = TimeWeighting(iec.S_S, rate_hz=rate_hz, channels=self._ears)
        self._begin_second()

    def _begin_second(self) -> None:
        self._frames = 0
        self._a_energy = np.zeros(self._ears)
        self._c_energy = np.zeros(self._ears)
        self._a_fast = self._a_slow = self._c_peak = 0.0

    def process(self, frames: Samples) -> list[HeardSecond]:
        """Take any number of frames, shape (n, channels); the seconds that they complete.

        Samples that are no numbers count as silence.
        """
        done: list[HeardSecond] = []
        at = 0
        while at < len(frames):
            part = frames[at : at + self._rate_hz - self._frames, : self._ears]
            self._take(np.ascontiguousarray(part.T, np.float64))
            at += len(part)
            if self._frames == self._rate_hz:
                done.append(self._second())
        return done

    def flush(self) -> list[HeardSecond]:
        """The second that is not full yet."""
        return [self._second()] if self._frames else []

    def _take(self, planar: Floats) -> None:
        if not np.isfinite(np.add.reduce(planar, axis=None)):
            planar = np.nan_to_num(planar, nan=0.0, posinf=0.0, neginf=0.0)
        weighted = self._c.process(planar)
        self._c_energy += np.vecdot(weighted, weighted)
        self._c_peak = max(self._c_peak, float(weighted.max()), -float(weighted.min()))
        weighted = self._a_of_c.process(weighted)
        self._a_energy += np.vecdot(weighted, weighted)
        if self._moves:
            squares = weighted * weighted
            self._a_fast = max(self._a_fast, float(self._fast.process(squares).max()))
            self._a_slow = max(self._a_slow, float(self._slow.process(squares).max()))
        self._frames += planar.shape[1]

    def _second(self) -> HeardSecond:
        a_power, c_power = (
            SINE * energy / self._frames for energy in (self._a_energy, self._c_energy)
        )
        made = HeardSecond(
            seconds=self._frames / self._rate_hz,
            a_power=_two(a_power),
            c_power=_two(c_power),
            a_fast=SINE * self._a_fast,
            a_slow=SINE * self._a_slow,
            c_peak=self._c_peak,
        )
        self._begin_second()
        return made


def _two(powers: Floats) -> tuple[float, float]:
    ears = powers.tolist()
    return (ears[0], ears[-1])
