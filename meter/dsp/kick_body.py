"""Where a kick settles: the frequency of its body, from the phase of what sounds under 180 Hz.

The phase of a swept kick is that of a steady tone and of a fall that dies away; both are fitted to it,
each moment by its power, for several speeds of the fall. What the fit reaches at its end is the body. A hit
that still moves there, or whose phase follows no such course, has no body that could be told.

Source
------
Own method; a fit by least squares.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from meter.units import Floats, power_to_db

LOWEST_HZ: Final = 25.0
HIGHEST_HZ: Final = 180.0
BEFORE_S: Final = 0.012
"""What is faded in before the hit."""
SPAN_S: Final = 0.34
"""What is looked at, from there."""
FALLS_S: Final = (0.003, 0.005, 0.008, 0.012, 0.017, 0.023, 0.03, 0.038, 0.047, 0.058)
STOPS_S: Final = (0.07, 0.095, 0.13, 0.18, 0.4)
"""Where a fit may end: the latest that fits counts."""
FROM_S: Final = 0.012
QUIET: Final = 10.0**-2.4
"""A hit is over 24 dB under its top."""
SETTLED_HZ: Final = 2.0
"""So near to where it ends it has settled."""
WORST_RAD: Final = 0.3
"""A phase that is off by more, in the mean, follows another course."""
WORST_EARLY_RAD: Final = 0.12
"""The same where the fit ends early, as it must where a bass comes back before the hit is over."""
LEAST_SHARE: Final = 0.1
"""The settled part has this share of the energy."""
LEAST_SETTLED_S: Final = 0.02
LEAST_S: Final = 0.045
"""A hit that is over sooner has no body."""
STILL_FALLING_HZ: Final = 3.0
KICK_BAND_HZ: Final = (30.0, 120.0)

_SIZE: Final = 128


@dataclass(frozen=True, slots=True, kw_only=True)
class Body:
    """One hit.

    Attributes
    ----------
    hz : float or None
        Where it settles; None where it does not, or it could not be told.
    seconds : float or None
        From its beginning to 24 dB under its top; None where it does not come to that before the next hit or
        within 0.3 s, or where bass sounds under it.
    level_dbfs : float
        Its loudest 13 ms from 25 to 180 Hz, as the peak of a sine of that power.
    sub_share : float
        Share of its energy from 25 to 180 Hz that lies inside the sub's band, 0 to 1, over the first 120 ms.
    crest_db : float
        Highest sample of the low signal (under 900 Hz) against its root mean square over the first 100 ms.
    energy, fall_energy : float
        Sum of squares from 30 to 120 Hz over the first 120 ms, and from 110 to 420 Hz over the first 60 ms.
    """

    hz: float | None
    seconds: float | None
    level_dbfs: float
    sub_share: float
    crest_db: float
    energy: float
    fall_energy: float


class BodyReader:
    """Looks at hits of one stream.

    Parameters
    ----------
    rate_hz : float
        Of the low signal, about 3 kHz.
    sub_band_hz : tuple of float
        Lower and upper end of the sub's band.
    """

    def __init__(self, rate_hz: float, *, sub_band_hz: tuple[float, float]) -> None:
        self._rate = rate_hz
        self.before_frames = round(BEFORE_S * rate_hz)
        self.frames = round(SPAN_S * rate_hz)
        self._size = round(1024 * rate_hz / 3000.0)
        bin_hz = rate_hz / self._size
        self._first = round(LOWEST_HZ / bin_hz)
        self._count = round(HIGHEST_HZ / bin_hz) - self._first
        edge = 0.5 - 0.5 * np.cos(np.pi * (np.arange(6) + 0.5) / 6)
        self._weights = np.full(self._count, 2.0 * _SIZE / self._size)
        self._weights[:6] *= edge
        self._weights[-6:] *= edge[::-1]
        self._base_hz = self._first * bin_hz
        self._t = np.arange(_SIZE) / (bin_hz * _SIZE) - self.before_frames / rate_hz
        self._fade_in = np.linspace(0.0, 1.0, self.before_frames) ** 2
        self._fade_out = np.linspace(1.0, 0.0, round(BEFORE_S * rate_hz))
        self._from = int(np.searchsorted(self._t, FROM_S))
        falls = np.array(FALLS_S)[:, None]
        later = np.maximum(self._t, 0.0)
        courses = np.stack(
            [
                np.ones((len(falls), _SIZE)),
                np.broadcast_to(2.0 * np.pi * self._t, (len(falls), _SIZE)),
                2.0 * np.pi * falls * (1.0 - np.exp(-later / falls)),
            ],
            axis=1,
        )
        self._courses = courses.reshape(-1, _SIZE).T.copy()
        self._products = (courses[:, :, None] * courses[:, None]).reshape(-1, _SIZE).T.copy()
        self._ends = np.exp(-later[None] / falls)
        self._own = slice(self._first, self._first + self._count)
        self._sub = self._bins(sub_band_hz, bin_hz)
        self._kick = self._bins(KICK_BAND_HZ, bin_hz)
        self._short = [round(s * rate_hz) + self.before_frames for s in (0.12, 0.1, 0.06)]

    def _bins(self, band_hz: tuple[float, float], bin_hz: float) -> slice:
        return slice(round(band_hz[0] / bin_hz), round(band_hz[1] / bin_hz) + 1)

    def read(self, piece: Floats, falling: Floats, *, stop_frames: int) -> Body:
        """Look at one hit.

        Parameters
        ----------
        piece : ndarray, shape (frames,)
            The low signal from `before_frames` before the hit.
        falling : ndarray, shape (frames,)
            The same from 110 to 420 Hz.
        stop_frames : int
            Where the next hit begins, in the piece.
        """
        count = min(len(piece), stop_frames)
        short, until, shortest = (min(count, frames) for frames in self._short)
        analytic = np.zeros(_SIZE, np.complex128)
        analytic[: self._count] = self._spectrum(piece, count)[self._own] * self._weights
        wave = np.fft.ifft(analytic)
        power = wave.real**2 + wave.imag**2
        top, end, is_over = self._extent(power, count)
        hz = None
        if self._t[end - 1] > LEAST_S:
            hz = self._settles(_unwrapped(np.arctan2(wave.imag, wave.real)), power, end, is_over)
        own = self._spectrum(piece, short)
        energies = own.real**2 + own.imag**2
        first, fall = piece[self.before_frames : until], falling[self.before_frames : shortest]
        squares = first * first
        mean = float(squares.mean()) if len(squares) else 0.0
        return Body(
            hz=hz,
            seconds=max(float(self._t[end - 1]), 0.0) if is_over else None,
            level_dbfs=power_to_db(top),
            sub_share=float(energies[self._sub].sum() / max(energies[self._own].sum(), 1e-30)),
            crest_db=power_to_db(float(squares.max()) / mean) if mean > 0.0 else 0.0,
            energy=float(energies[self._kick].sum()) * 2.0 / self._size,
            fall_energy=float(fall @ fall),
        )

    def _spectrum(self, piece: Floats, count: int) -> np.ndarray[tuple[int], np.dtype[np.complex128]]:
        padded = np.zeros(self._size)
        padded[:count] = piece[:count]
        padded[: self.before_frames] *= self._fade_in
        fade = min(len(self._fade_out), count)
        padded[count - fade : count] *= self._fade_out[-fade:]
        return np.asarray(np.fft.rfft(padded), np.complex128)

    def _extent(self, power: Floats, count: int) -> tuple[float, int, bool]:
        """The top of its power, the point at which it ends, and whether it was over there."""
        sums = np.cumsum(power)
        smooth = np.zeros(_SIZE)
        smooth[3:-2] = (sums[5:] - sums[:-5]) / 5.0
        last = int(np.searchsorted(self._t, (count - self.before_frames) / self._rate - BEFORE_S / 2.0))
        last = max(last, self._from + 1)
        until = max(min(last, int(np.searchsorted(self._t, 0.12))), self._from + 1)
        at = self._from + int(smooth[self._from : until].argmax())
        top = float(smooth[at])
        under = np.flatnonzero(smooth[at:last] < top * QUIET)
        return (top, at + int(under[0]), True) if len(under) else (top, last, False)

    def _settles(self, phase: Floats, power: Floats, end: int, is_over: bool) -> float | None:
        """The frequency that the phase comes to."""
        end_s = float(self._t[end - 1])
        stops_s = [stop for stop in STOPS_S if stop < end_s]
        stops = [*(int(np.searchsorted(self._t, stop, side="right")) for stop in stops_s), end]
        stops = [stops[0]] * (len(STOPS_S) - len(stops)) + stops[-len(STOPS_S) :]
        weights = np.zeros((len(STOPS_S), _SIZE))
        for row, stop in zip(weights, stops, strict=True):
            row[self._from : stop] = power[self._from : stop]
        squares = (weights @ self._products).reshape(len(STOPS_S), -1, 3, 3)
        crossed = ((weights * phase) @ self._courses).reshape(len(STOPS_S), -1, 3)
        squares = squares + 1e-9 * squares[..., :1, :1] * np.eye(3)
        found = np.linalg.solve(squares, crossed[..., None])[..., 0]
        left = (weights * phase) @ phase
        off = np.maximum(left[:, None] - (found * crossed).sum(axis=2), 0.0) / weights.sum(axis=1)[:, None]
        best = off.argmin(axis=1)
        for at in range(len(STOPS_S) - 1, -1, -1):
            if is_over and stops[at] < end:
                return None
            worst_rad = WORST_RAD if stops[at] == end else WORST_EARLY_RAD
            if off[at, best[at]] < worst_rad**2:
                return self._end_of(found[at, best[at]], int(best[at]), weights[at], stops[at])
        return None

    def _end_of(self, course: Floats, fall: int, weights: Floats, stop: int) -> float | None:
        hz = self._base_hz + course[1] + course[2] * self._ends[fall]
        moving = np.flatnonzero(np.abs(hz[self._from : stop] - hz[stop - 1]) >= SETTLED_HZ)
        first = self._from + (int(moving[-1]) + 1 if len(moving) else 0)
        settled = weights[first:stop]
        still_hz = abs(float(course[2])) * float(self._ends[fall][stop - 1])
        if (
            settled.sum() < LEAST_SHARE * weights.sum()
            or self._t[stop - 1] - self._t[first] < LEAST_SETTLED_S
            or still_hz > STILL_FALLING_HZ
        ):
            return None
        body_hz = float(hz[first:stop] @ settled / settled.sum())
        return body_hz if LOWEST_HZ < body_hz < HIGHEST_HZ and math.isfinite(body_hz) else None


def _unwrapped(phase: Floats) -> Floats:
    """The phase without its jumps; `numpy.unwrap` does the same and looks at more."""
    turns = np.rint((phase[1:] - phase[:-1]) / (2.0 * np.pi))
    phase[1:] -= 2.0 * np.pi * np.cumsum(turns)
    return phase
