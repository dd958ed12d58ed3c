"""Momentary, short-term and integrated loudness of a stream of 10 ms cells.

The windows are rectangular and ungated; they are evaluated at every cell, so their maxima are
found wherever a burst falls. Blocks for the integrated value end with the soundings. Cells that
hold replaced samples keep every window they touch out of maxima, I and LRA.

Source
------
EBU Tech 3341 v4 (Nov 2023) §2.2: M 0.4 s, S 3 s, sliding rectangular windows, not gated. SEEN-S.
ITU-R BS.1770-5 (11/2023), Annex 1: gating blocks.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from meter.dsp import gating
from meter.dsp.histogram import PowerHistogram
from meter.soundings import CELLS_A_SOUNDING
from meter.units import Floats

Bools = npt.NDArray[np.bool_]

MOMENTARY_CELLS: Final = 40
SHORT_TERM_CELLS: Final = 300
LOUDEST_SOUNDINGS: Final = 10 * gating.LOUDEST_S


@dataclass(frozen=True, slots=True)
class WindowMaxima:
    """Highest M and S power in each sounding, NaN where there is none, shape (n,)."""

    momentary: Floats
    short_term: Floats


class LoudnessMeter:
    """M, S, I, LRA, their maxima and the loudest 30 s. Takes whole soundings.

    Everything runs since `reset`; after `mark` only what lies wholly behind the mark counts
    for I, LRA, maxima and loudest 30 s, while M and S go on.
    """

    def __init__(self) -> None:
        self.reset()

    def reset(self) -> None:
        """As a new object."""
        self._cells: Floats = np.empty(0)
        self._counted = self._cells  # NaN in cells that hold replaced samples
        self.newest_momentary: Floats = np.empty(0)
        """M, as power, at each of the newest cells; NaN where there is none."""
        self.momentary_power: float | None = None
        self.short_term_power: float | None = None
        self.mark()

    def mark(self) -> None:
        """A new pass begins with the next cell."""
        self._cells_since_mark = 0
        self._integrated = PowerHistogram()
        self._range = PowerHistogram()
        self.momentary_max: float | None = None
        self.short_term_max: float | None = None
        self._run: Floats = np.empty(0)
        self._soundings = 0
        self._loudest: tuple[int, float, Floats] | None = None
        self._loudest_lufs: tuple[Floats, float | None] | None = None

    def process(self, powers: Floats, bad: Bools) -> WindowMaxima:
        """Take the cells of whole soundings.

        Parameters
        ----------
        powers : ndarray, shape (10·n,)
            Weighted K power of each cell.
        bad : ndarray of bool, shape (10·n,)
            Cells that hold replaced samples.
        """
        counted = np.where(bad, np.nan, powers) if np.logical_or.reduce(bad) else powers
        joined = np.concatenate([self._counted, counted])
        momentary = self._windows(joined, len(counted), MOMENTARY_CELLS)
        short_term = self._windows(joined, len(counted), SHORT_TERM_CELLS)
        ends = slice(CELLS_A_SOUNDING - 1, None, CELLS_A_SOUNDING)
        self._integrated.add(_numbers(momentary[ends]))
        self._range.add(_numbers(short_term[ends]))
        is_same = self._cells is self._counted and counted is powers  # nothing was replaced since the start
        self._remember(joined, joined if is_same else np.concatenate([self._cells, powers]), len(powers))
        self.momentary_power = self._newest(momentary, MOMENTARY_CELLS)
        self.short_term_power = self._newest(short_term, SHORT_TERM_CELLS)
        self._find_loudest(counted)
        self.newest_momentary = momentary
        maxima = WindowMaxima(_row_max(momentary), _row_max(short_term))
        self.momentary_max = _higher(self.momentary_max, maxima.momentary)
        self.short_term_max = _higher(self.short_term_max, maxima.short_term)
        return maxima

    def finish(self, powers: Floats, bad: Bools) -> WindowMaxima:
        """The cells of a last sounding that stayed short, fewer than ten: they count for the maxima only."""
        counted = np.where(bad, np.nan, powers)
        joined = np.concatenate([self._counted, counted])
        momentary = self._windows(joined, len(counted), MOMENTARY_CELLS)
        short_term = self._windows(joined, len(counted), SHORT_TERM_CELLS)
        self.momentary_max = _higher(self.momentary_max, momentary)
        self.short_term_max = _higher(self.short_term_max, short_term)
        return WindowMaxima(_one_max(momentary), _one_max(short_term))

    def _windows(self, joined: Floats, new: int, width: int) -> Floats:
        """Power of the window ending with each new cell; NaN where it is not whole, or touches a bad cell."""
        means = gating.moving_mean(joined[max(0, len(joined) - new - width + 1) :], width)
        early = max(0, width - 1 - self._cells_since_mark)
        if len(means) == new and not early:
            return means
        result = np.full(new, np.nan)
        result[new - len(means) :] = means
        result[:early] = np.nan
        return result

    def _remember(self, counted: Floats, cells: Floats, new: int) -> None:
        self._cells_since_mark += new
        self._cells = cells[-SHORT_TERM_CELLS:]
        self._counted = self._cells if counted is cells else counted[-SHORT_TERM_CELLS:]

    def _newest(self, means: Floats, width: int) -> float | None:
        """Power of the newest window: with the zeros that replaced samples, and over a mark."""
        newest = means.item(-1) if len(means) else math.nan
        if not math.isnan(newest):
            return newest
        return _mean(self._cells[-width:]) if len(self._cells) >= width else None

    def _find_loudest(self, counted: Floats) -> None:
        soundings = np.add.reduce(counted.reshape(-1, CELLS_A_SOUNDING), axis=1) / CELLS_A_SOUNDING
        run = np.concatenate([self._run, soundings])
        means = gating.moving_mean(run, LOUDEST_SOUNDINGS)
        if len(means):
            best = int(means.argmax())
            mean = float(means[best])
            if math.isnan(mean):  # it is the first of them, then
                means = np.where(np.isnan(means), -1.0, means)
                best = int(means.argmax())
                mean = float(means[best])
            if mean > (self._loudest[1] if self._loudest else -0.5):
                first = self._soundings - len(self._run) + best
                self._loudest = first, mean, run[best : best + LOUDEST_SOUNDINGS].copy()
        self._soundings += len(soundings)
        self._run = run[-(LOUDEST_SOUNDINGS - 1) :]

    def partial_momentary(self, powers: Floats) -> float | None:
        """M with the cells of a sounding that is not whole yet, for the eye."""
        cells = np.concatenate([self._cells, powers])
        return float(cells[-MOMENTARY_CELLS:].mean()) if len(cells) >= MOMENTARY_CELLS else None

    def integrated_lufs(self) -> float | None:
        """I since start, gap or mark."""
        return self._integrated.integrated_lufs()

    def range_lu(self) -> float | None:
        """LRA since start, gap or mark."""
        return self._range.range_lu()

    def loudest_30s(self) -> tuple[int, float | None] | None:
        """First sounding of the loudest 30 s, and their gated loudness in LUFS."""
        if self._loudest is None:
            return None
        first, _, soundings = self._loudest
        if self._loudest_lufs is None or self._loudest_lufs[0] is not soundings:
            # Asked for ten times a second, new only while the loudest 30 s are going on.
            self._loudest_lufs = soundings, gating.gated_loudness_of_soundings(soundings)
        return first, self._loudest_lufs[1]


def _mean(values: Floats) -> float:
    return float(np.add.reduce(values)) / len(values)


def _numbers(values: Floats) -> list[float]:
    return [value for value in values.tolist() if not math.isnan(value)]


def _row_max(values: Floats) -> Floats:
    """Maximum of each sounding's cells; NaN when none is a number."""
    return np.asarray(np.fmax.reduce(values.reshape(-1, CELLS_A_SOUNDING), axis=1), np.float64)


def _one_max(values: Floats) -> Floats:
    return np.array([np.fmax.reduce(values, initial=np.nan)])


def _higher(known: float | None, values: Floats) -> float | None:
    numbers = _numbers(values)
    if known is not None:
        numbers.append(known)
    return max(numbers, default=None)
