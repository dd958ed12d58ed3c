"""Where a kick settles: the frequency of its body, from the phase of what sounds under 180 Hz.

The phase of a swept kick is that of a steady tone and of a fall that dies away; both are fitted to it,
each moment by its power, for several speeds of the fall. What the fit reaches at its end is the body. A hit
that still moves there, or whose phase follows no such course, has no body that could be told.

Source
------
Own method; a fit by least squares.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

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
        self._fade_in = np.ones(self.frames)
        self._fade_in[: self.before_frames] = np.linspace(0.0, 1.0, self.before_frames) ** 2
        self._places = np.arange(float(self.frames))
        self._fade_s = 1.0 / (round(BEFORE_S * rate_hz) - 1)
        self._from = int(np.searchsorted(self._t, FROM_S))
        self._stops = np.searchsorted(self._t, STOPS_S, side="right")
        self._latest_top = int(np.searchsorted(self._t, 0.12))
        falls = np.array(FALLS_S)[:, None]
        later = np.maximum(self._t, 0.0)
        steady = 2.0 * np.pi * self._t
        falling = 2.0 * np.pi * falls * (1.0 - np.exp(-later / falls))
        # Sums of products of the three courses (a constant, a steady tone, each fall): the first three are
        # the same for every fall.
        same = np.stack([np.ones(_SIZE), steady, steady * steady])
        self._products = np.concatenate([same, falling, falling * steady, falling * falling]).T.copy()
        self._courses = np.concatenate([same[:2], falling]).T.copy()
        self._ends = np.exp(-later[None] / falls)
        self._own = slice(self._first, self._first + self._count)
        self._sub = self._bins(sub_band_hz, bin_hz)
        self._kick = self._bins(KICK_BAND_HZ, bin_hz)
        self._short = np.round(np.array([0.12, 0.1, 0.06]) * rate_hz).astype(np.intp) + self.before_frames

    def _bins(self, band_hz: tuple[float, float], bin_hz: float) -> slice:
        return slice(round(band_hz[0] / bin_hz), round(band_hz[1] / bin_hz) + 1)

    def read(self, pieces: Floats, falling: Floats, stops: npt.NDArray[np.intp]) -> list[Body]:
        """Look at hits. Each comes out the same, bit for bit, whatever others are with it.

        Parameters
        ----------
        pieces : ndarray, shape (n, frames)
            The low signal from `before_frames` before each hit.
        falling : ndarray, shape (n, frames)
            The same from 110 to 420 Hz.
        stops : ndarray, shape (n,)
            Where the next hit begins, in the piece.
        """
        counts = np.minimum(stops, self.frames)
        short, until, shortest = np.minimum(counts, self._short[:, None])
        faded_in = pieces * self._fade_in
        analytic = np.zeros((len(pieces), _SIZE), np.complex128)
        analytic[:, : self._count] = self._spectra(faded_in, counts)[:, self._own] * self._weights
        waves = np.fft.ifft(analytic, axis=1)
        power = np.square(waves.real) + np.square(waves.imag)
        tops, ends, are_over = self._extents(power, counts)
        bodies_hz = self._settle(_unwrapped(np.arctan2(waves.imag, waves.real)), power, ends, are_over)
        own = self._spectra(faded_in, short)
        energies = np.square(own.real) + np.square(own.imag)
        sub, whole, kick = (energies[:, band].sum(axis=1) for band in (self._sub, self._own, self._kick))
        at = np.arange(self.frames)
        is_body = at >= self.before_frames
        squares = np.where(is_body & (at < until[:, None]), np.square(pieces), 0.0)
        fall = np.where(is_body & (at < shortest[:, None]), falling, 0.0)
        highest, sums, falls = squares.max(axis=1), squares.sum(axis=1), np.vecdot(fall, fall)
        lengths = np.maximum(until - self.before_frames, 1)
        ends_s = self._t[ends - 1]
        columns = (ends, ends_s, are_over, tops, sub, whole, highest * lengths, sums, kick, falls)
        rows = zip(bodies_hz, *(column.tolist() for column in columns), strict=True)
        return [
            Body(
                hz=body_hz if end > 0 and end_s > LEAST_S else None,
                seconds=max(end_s, 0.0) if is_over else None,
                level_dbfs=power_to_db(top),
                sub_share=in_sub / max(in_all, 1e-30),
                crest_db=power_to_db(high / total) if total > 0.0 else 0.0,
                energy=in_kick * 2.0 / self._size,
                fall_energy=fall_energy,
            )
            for body_hz, end, end_s, is_over, top, in_sub, in_all, high, total, in_kick, fall_energy in rows
        ]

    def _spectra(self, faded_in: Floats, counts: npt.NDArray[np.intp]) -> npt.NDArray[np.complex128]:
        """Of so many samples of each piece, faded out."""
        faded = (counts - 1.0)[:, None] - self._places
        faded *= self._fade_s
        np.minimum(np.maximum(faded, 0.0, out=faded), 1.0, out=faded)
        faded *= faded_in
        return np.asarray(np.fft.rfft(faded, self._size, axis=1), np.complex128)

    def _extents(
        self, power: Floats, counts: npt.NDArray[np.intp]
    ) -> tuple[Floats, npt.NDArray[np.intp], npt.NDArray[np.bool_]]:
        """The top of the power of each, the point at which it ends, and whether it was over there."""
        sums = np.cumsum(power, axis=1)
        smooth = np.zeros_like(power)
        smooth[:, 3:-2] = (sums[:, 5:] - sums[:, :-5]) / 5.0
        last = np.searchsorted(self._t, (counts - self.before_frames) / self._rate - BEFORE_S / 2.0)
        last = np.maximum(last, self._from + 1)
        until = np.maximum(np.minimum(last, self._latest_top), self._from + 1)
        places = np.arange(_SIZE)
        looked = (places >= self._from) & (places < until[:, None])
        at = np.where(looked, smooth, -1.0).argmax(axis=1)
        tops = smooth[np.arange(len(smooth)), at]
        under = (places >= at[:, None]) & (places < last[:, None]) & (smooth < tops[:, None] * QUIET)
        are_over = under.any(axis=1)
        return tops, np.where(are_over, under.argmax(axis=1), last), are_over

    def _settle(
        self, phase: Floats, power: Floats, ends: npt.NDArray[np.intp], are_over: npt.NDArray[np.bool_]
    ) -> list[float | None]:
        """The frequencies that the phases come to."""
        n, ways = len(phase), len(STOPS_S)
        # The stops before the end, then the end; where there are fewer, the first again in front.
        ends_s = self._t[ends - 1]
        before = np.searchsorted(STOPS_S, ends_s)
        order = np.arange(ways) - (ways - 1) + before[:, None]
        stops = np.where(order < before[:, None], self._stops[np.clip(order, 0, ways - 1)], ends[:, None])
        places = np.arange(_SIZE)
        inside = (places >= self._from) & (places < stops[:, :, None])
        weights = np.where(inside, power[:, None], 0.0)
        turned = weights * phase[:, None]
        # A product for each hit, so that none depends on how many there are.
        squares, crossed = weights @ self._products, turned @ self._courses
        falls = len(FALLS_S)
        s00, s01, s11 = (squares[:, :, k, None] for k in range(3))
        s02, s12, s22 = (squares[:, :, 3 + k * falls : 3 + (k + 1) * falls] for k in range(3))
        c0, c1, c2 = crossed[:, :, 0, None], crossed[:, :, 1, None], crossed[:, :, 2:]
        found = _solved((s00, s01, s02, s11, s12, s22), (c0, c1, c2))
        left = np.vecdot(turned, phase[:, None])
        off = left[:, :, None] - (found[0] * c0 + found[1] * c1 + found[2] * c2)
        off = np.maximum(off, 0.0) / np.maximum(s00, 1e-300)
        best = off.argmin(axis=2)
        least = np.take_along_axis(off, best[:, :, None], axis=2)[:, :, 0]
        worst_rad = np.where(stops == ends[:, None], WORST_RAD, WORST_EARLY_RAD)
        fits = (least < np.square(worst_rad)) & ~(are_over[:, None] & (stops < ends[:, None]))
        way = (ways - 1) - fits[:, ::-1].argmax(axis=1)  # the latest that fits
        mine = np.arange(n)
        fall, stop = best[mine, way], stops[mine, way]
        steady, falling = (found[k][mine, way, fall] for k in (1, 2))
        told = self._told(steady, falling, fall, weights[mine, way], stop)
        is_told = fits.any(axis=1) & np.isfinite(told)
        return [float(hz) if ok else None for hz, ok in zip(told, is_told, strict=True)]

    def _told(
        self,
        steady: Floats,
        falling: Floats,
        fall: npt.NDArray[np.intp],
        weights: Floats,
        stops: npt.NDArray[np.intp],
    ) -> Floats:
        """Mean frequency of the settled part of each; NaN where it has none."""
        mine, places = np.arange(len(steady)), np.arange(_SIZE)
        courses = falling[:, None] * self._ends[fall]
        hz = self._base_hz + steady[:, None] + courses
        inside = (places >= self._from) & (places < stops[:, None])
        moving = inside & (np.abs(hz - hz[mine, stops - 1, None]) >= SETTLED_HZ)
        firsts = np.where(moving.any(axis=1), _SIZE - moving[:, ::-1].argmax(axis=1), self._from)
        settled = np.where(inside & (places >= firsts[:, None]), weights, 0.0)
        shares, whole = settled.sum(axis=1), weights.sum(axis=1)
        still_hz = np.abs(courses[mine, stops - 1])
        body_hz = np.vecdot(hz, settled) / np.maximum(shares, 1e-300)
        is_told = (
            (shares >= LEAST_SHARE * whole)
            & (shares > 0.0)
            & (self._t[stops - 1] - self._t[np.minimum(firsts, _SIZE - 1)] >= LEAST_SETTLED_S)
            & (still_hz <= STILL_FALLING_HZ)
            & (body_hz > LOWEST_HZ)
            & (body_hz < HIGHEST_HZ)
        )
        return np.where(is_told, body_hz, np.nan)


def _solved(squares: tuple[Floats, ...], crossed: tuple[Floats, ...]) -> tuple[Floats, Floats, Floats]:
    """Three unknowns of symmetric equations, many at once: elimination, which needs no pivots here."""
    s00, s01, s02, s11, s12, s22 = squares
    c0, c1, c2 = crossed
    s00 = np.maximum(s00, 1e-300)
    least = 1e-9 * s00
    k1, k2 = s01 / (s00 + least), s02 / (s00 + least)
    r11, r12, r22 = s11 + least - k1 * s01, s12 - k1 * s02, s22 + least - k2 * s02
    d1, d2 = c1 - k1 * c0, c2 - k2 * c0
    k3 = r12 / r11
    x2 = (d2 - k3 * d1) / (r22 - k3 * r12)
    x1 = (d1 - r12 * x2) / r11
    return (c0 - s01 * x1 - s02 * x2) / (s00 + least), x1, x2


def _unwrapped(phase: Floats) -> Floats:
    """The phases without their jumps; `numpy.unwrap` does the same and looks at more."""
    turns = np.rint((phase[:, 1:] - phase[:, :-1]) / (2.0 * np.pi))
    phase[:, 1:] -= 2.0 * np.pi * np.cumsum(turns, axis=1)
    return phase
