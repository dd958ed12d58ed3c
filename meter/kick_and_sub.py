"""A kick and a sub that are there apart: whether they add or cancel on each hit, and what would help.

From a mix this can hardly be known: a sub that ducks under the kick looks like one that is cancelled.

Source
------
Own method: G = 10·log10(E[(k+s)²] / (E[k²] + E[s²])) in 30-120 Hz over 120 ms from each kick, with k and s at
zero phase. The band, the length and what counts as alike are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from meter.dsp.decimator import Decimator
from meter.dsp.grid import Grid
from meter.dsp.window import Window
from meter.errors import UsageError
from meter.low_end.clock import LowClock
from meter.low_end.kick_reader import KickReader
from meter.units import Floats, Samples, power_to_db, powers_to_db

BAND_HZ: Final = (30.0, 120.0)
EDGE_HZ: Final = 5.0
LENGTH_S: Final = 0.120
FARTHEST_S: Final = 0.012
"""The sub is moved so far to both sides."""
LEAST_PART_DB: Final = -20.0
"""A hit counts where neither of the two is so far under the other."""
NEAR_BEST_DB: Final = 1.0
"""One setting serves a hit when it comes so near to the best for that hit."""
SERVED: Final = 0.8
"""And it is suggested when it serves this share of the hits."""
WORTH_DB: Final = 0.5
"""What gains less is not worth the trouble."""
FEWEST: Final = 4
LATE_ONSET_S: Final = 0.008
"""A hit is found so late at most; the window begins that much before it."""

FITS, MOVE, VARIES, TOO_FEW = "fits", "move", "varies", "too few"


@dataclass(frozen=True, slots=True, kw_only=True)
class HitTogether:
    """One hit.

    Attributes
    ----------
    at_s : float
        Where it begins.
    g_db : float
        As it is: above 0 they add, under 0 they cancel; -60 at least.
    best_db : float
        The most that polarity and moving could make of it.
    flips : bool
        Whether the sub's polarity is turned for that.
    lag_s : float
        How much later the sub comes for that; negative is earlier.
    """

    at_s: float
    g_db: float
    best_db: float
    flips: bool
    lag_s: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Together:
    """All hits.

    Attributes
    ----------
    hits : tuple of HitTogether
        Those where both sound.
    without_sub : int
        Kicks with no sub under them.
    verdict : str
        `FITS`, `MOVE`, `VARIES` or `TOO_FEW`.
    g_db, best_db : float
        Over the energy of all hits: as it is, and with the one setting that is best for all.
    flips, lag_s : bool, float
        That setting.
    served : float
        Share of the hits, 0 to 1, that it serves.
    places_s : ndarray or None, shape (places,)
        How much later the sub comes at each place that was tried; None with too few hits.
    scan_db : ndarray or None, shape (2, places)
        G over all hits at each of them: with its polarity as it is, and turned.
    """

    hits: tuple[HitTogether, ...]
    without_sub: int
    verdict: str
    g_db: float
    best_db: float
    flips: bool
    lag_s: float
    served: float
    places_s: Floats | None = None
    scan_db: Floats | None = None

    @property
    def gain_db(self) -> float:
        """What the setting gains."""
        return self.best_db - self.g_db


def together(
    kick: Samples, sub: Samples, *, rate_hz: int, step: Callable[[float], None] = lambda share: None
) -> Together:
    """Look at a kick and a sub that begin together.

    Parameters
    ----------
    kick, sub : ndarray, shape (frames, channels)
        Both at one rate, from the same moment on; channels are brought to one.
    step : callable, optional
        Told the share that is done, 0 to 1; what it raises breaks the work off.

    Raises
    ------
    UsageError
        There is no kick in the first.
    """
    low_kick, low_hz, late_s = _low(kick, rate_hz)
    step(0.3)
    low_sub, _, _ = _low(sub, rate_hz)
    step(0.6)
    count = min(len(low_kick), len(low_sub))
    reader = KickReader(LowClock(rate_hz=low_hz))
    reader.process(np.stack([low_kick, low_kick], axis=1), 0)
    reader.flush()
    step(0.85)
    if not reader.hits:
        raise UsageError(
            "no kick was found in the first of the two, but a stem of kicks was expected; give the kick "
            "first, and the sub behind it"
        )
    # Nearest to what was found, where the kick's own low end rises.
    k, s = _banded(low_kick[:count], low_hz), _banded(low_sub[:count], low_hz)
    scans = [_Scan(k, s, hit.at_s, low_hz) for hit in reader.hits]
    heard = [scan for scan in scans if scan.is_heard]
    hits = tuple(scan.hit(late_s) for scan in heard)
    return _judged(heard, hits, without_sub=len(scans) - len(heard), low_hz=low_hz)


def _low(samples: Samples, rate_hz: int) -> tuple[Floats, float, float]:
    """The middle of it at about 3 kHz, its rate, and how late it is."""
    grid = Grid(rate_hz)
    decimator = Decimator(grid, channels=1)
    window = Window(channels=1, past_frames=decimator.past_frames)
    middle = samples.mean(axis=1, dtype=np.float64).astype(np.float32)[:, None]
    parts, start, block = [], 0, 0
    while start < len(middle):
        frames = grid.block_frames(block)
        piece = np.zeros((frames, 1), np.float32)
        part = middle[start : start + frames]
        piece[: len(part)] = part
        window.push(piece)
        parts.append(decimator.process(window, blocks=1)[0])
        start, block = start + frames, block + 1
    joined = np.concatenate(parts) if parts else np.zeros(0)
    return joined, decimator.rate_hz, decimator.past_frames / 2.0 / rate_hz


def _banded(low: Floats, rate_hz: float) -> Floats:
    """What lies in the band, at zero phase."""
    from scipy import fft

    size = fft.next_fast_len(len(low) + round(rate_hz), real=True)
    hz = fft.rfftfreq(size, 1.0 / rate_hz)
    rise = np.clip((hz - BAND_HZ[0] + EDGE_HZ) / EDGE_HZ, 0.0, 1.0)
    fall = np.clip((BAND_HZ[1] + 2.0 * EDGE_HZ - hz) / (2.0 * EDGE_HZ), 0.0, 1.0)
    return np.asarray(fft.irfft(fft.rfft(low, size) * rise * fall, size)[: len(low)], np.float64)


class _Scan:
    """Energies of one hit for every place of the sub."""

    def __init__(self, k: Floats, s: Floats, at_s: float, rate_hz: float) -> None:
        self._at_s, self._rate = at_s, rate_hz
        length, far = round(LENGTH_S * rate_hz), round(FARTHEST_S * rate_hz)
        first = round((at_s - LATE_ONSET_S) * rate_hz)
        own = _cut(k, first, first + length)
        other = _cut(s, first - far, first + length + far)
        self.kick = float(own @ own)
        # Row j: the sub comes j - far samples later.
        self.cross = np.correlate(other, own, "valid")[::-1]
        squares = np.cumsum(np.concatenate([[0.0], other * other]))
        self.sub = (squares[length:] - squares[:-length])[::-1]
        self._far = far

    @property
    def is_heard(self) -> bool:
        """Whether both sound."""
        parts = self.kick, float(self.sub[self._far])
        return min(parts) > 0.0 and power_to_db(min(parts) / max(parts)) > LEAST_PART_DB

    def gains(self) -> Floats:
        """G for every place, shape (2, places): as it is, and turned."""
        cross = np.stack([self.cross, -self.cross])
        return _g_db(self.kick, self.sub, cross)

    def hit(self, late_s: float) -> HitTogether:
        """What is told of it."""
        gains_db = self.gains()
        turn, place, best_db = _highest(gains_db)
        return HitTogether(
            at_s=self._at_s - late_s,
            g_db=float(gains_db[0, self._far]),
            best_db=best_db,
            flips=turn == 1,
            lag_s=(place - self._far) / self._rate,
        )


def _cut(samples: Floats, first: int, stop: int) -> Floats:
    before, behind = max(-first, 0), max(stop - len(samples), 0)
    part = samples[max(first, 0) : max(stop, 0)]
    return np.pad(part, (before, behind)) if before or behind else part


def _g_db(kick: Floats | float, sub: Floats, cross: Floats) -> Floats:
    apart = np.maximum(kick + sub, 1e-30)
    return np.maximum(powers_to_db(np.maximum((apart + 2.0 * cross) / apart, 0.0)), -60.0)


def _highest(gains_db: Floats) -> tuple[int, float, float]:
    """Row, place between the samples, and value of the highest point."""
    turn, at = (int(k) for k in np.unravel_index(int(gains_db.argmax()), gains_db.shape))
    row = gains_db[turn]
    if not 0 < at < len(row) - 1:
        return turn, float(at), float(row[at])
    before, here, behind = (float(row[at + k]) for k in (-1, 0, 1))
    bend = before - 2.0 * here + behind
    off = 0.5 * (before - behind) / bend if bend < 0.0 else 0.0
    return turn, at + off, here - 0.25 * (before - behind) * off


def _judged(
    scans: list[_Scan], hits: tuple[HitTogether, ...], *, without_sub: int, low_hz: float
) -> Together:
    if len(hits) < FEWEST:
        return _told(hits, without_sub, TOO_FEW)
    far = round(FARTHEST_S * low_hz)
    kick = sum(scan.kick for scan in scans)
    sub, cross = _total(scan.sub for scan in scans), _total(scan.cross for scan in scans)
    all_db = _g_db(kick, sub, np.stack([cross, -cross]))
    turn, place, best_db = _highest(all_db)
    at = min(max(round(place), 0), all_db.shape[1] - 1)
    least_db = np.array([hit.best_db - NEAR_BEST_DB for hit in hits])
    served = float(np.mean(np.array([scan.gains()[turn, at] for scan in scans]) > least_db))
    served_now = float(np.mean(np.array([hit.g_db for hit in hits]) > least_db))
    g_db = float(all_db[0, far])
    verdict = VARIES
    if best_db - g_db < WORTH_DB:
        verdict = FITS if served_now >= SERVED else VARIES
    elif served >= SERVED:
        verdict = MOVE
    made = _told(hits, without_sub, verdict, g_db, best_db, turn == 1, (place - far) / low_hz, served)
    return replace(made, places_s=(np.arange(all_db.shape[1]) - far) / low_hz, scan_db=all_db)


def _told(
    hits: tuple[HitTogether, ...],
    without_sub: int,
    verdict: str,
    g_db: float = 0.0,
    best_db: float = 0.0,
    flips: bool = False,
    lag_s: float = 0.0,
    served: float = 0.0,
) -> Together:
    return Together(
        hits=hits,
        without_sub=without_sub,
        verdict=verdict,
        g_db=g_db,
        best_db=best_db,
        flips=flips,
        lag_s=lag_s,
        served=served,
    )


def _total(rows: Iterable[Floats]) -> Floats:
    return np.asarray(np.sum(list(rows), axis=0), np.float64)
