"""Left, right and their product in the low bands: what a mono system makes of the sub.

Linkwitz-Riley bands of fourth order (two second-order Butterworth sections a side), each with
the same high-pass at 20 Hz so that an offset cannot hide an antiphase sub. They run on the
decimated signal with sections fitted to the analogue response, so they are the same at every
rate.

Source
------
Linkwitz-Riley: S. Linkwitz 1976, JAES (cited, not read); RaneNote 160 (Oct 2005): two cascaded
Butterworth filters a side, -6 dB at the crossover. SEEN-P. The choice of bands is our own.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache, reduce
from typing import Final

import numpy as np

from meter.dsp.biquad_fit import fit_biquad
from meter.dsp.decimator import PASS_SHARE, Decimator
from meter.dsp.grid import Grid
from meter.dsp.linear_filter import linear_filter
from meter.dsp.window import Window
from meter.errors import UsageError
from meter.units import Floats

BOTTOM_HZ: Final = 20.0
EDGES_HZ: Final = (60.0, 120.0, 250.0)
MIN_CROSSOVER_HZ: Final = 40.0
MAX_CROSSOVER_HZ: Final = 300.0


def lr4_low_pass(f_hz: float, *, rate_hz: float) -> Floats:
    """Second-order sections of a Linkwitz-Riley low-pass, shape (2, 6)."""
    return np.tile(_section(f_hz, rate_hz, high_pass=False), (2, 1))


def lr4_high_pass(f_hz: float, *, rate_hz: float) -> Floats:
    """Second-order sections of a Linkwitz-Riley high-pass, shape (2, 6)."""
    return np.tile(_section(f_hz, rate_hz, high_pass=True), (2, 1))


@lru_cache(maxsize=64)  # the fit takes longer than to measure a second of sound
def _section(corner_hz: float, rate_hz: float, *, high_pass: bool) -> Floats:
    f_hz = np.geomspace(corner_hz / 20.0, PASS_SHARE * rate_hz, 400)
    ratio = (f_hz / corner_hz) ** (-4.0 if high_pass else 4.0)
    b, a = fit_biquad(f_hz, 1.0 / (1.0 + ratio), rate_hz=rate_hz, centre_hz=corner_hz, high_pass=high_pass)
    return np.concatenate([b, a])


class _Section:
    """Cascade of Linkwitz-Riley filters with its memory.

    At this low rate all sections may be one transfer function (at the full rate its rounding would
    show): a call costs much the same whatever its order.
    """

    def __init__(self, filters: Sequence[Floats], channels: int) -> None:
        sections = np.concatenate(filters)
        self._b, self._a = (reduce(np.convolve, sections[:, part]) for part in (slice(0, 3), slice(3, 6)))
        self.state = np.zeros((channels, 2 * len(sections)))

    def process(self, samples: Floats) -> Floats:
        if samples.shape[1] == 0:
            return samples
        out, self.state[:] = linear_filter(self._b, self._a, samples, self.state)
        return out

    def settle(self, floor: float) -> None:
        self.state[np.abs(self.state) < floor] = 0.0

    def reset(self) -> None:
        self.state[:] = 0.0


class LowBands:
    """Low-band sums of a stream of blocks (first two channels).

    Raises
    ------
    UsageError
        Crossover outside 40 … 300 Hz.
    """

    def __init__(self, grid: Grid, *, crossover_hz: float) -> None:
        if not MIN_CROSSOVER_HZ <= crossover_hz <= MAX_CROSSOVER_HZ:
            raise UsageError(
                f"the crossover is {crossover_hz:g} Hz, but it must lie between {MIN_CROSSOVER_HZ:g} and "
                f"{MAX_CROSSOVER_HZ:g} Hz; 80 to 120 Hz is usual for a club's subs"
            )
        self._decimator = Decimator(grid, channels=2)
        self.past_frames = self._decimator.past_frames
        rate_hz = self._decimator.rate_hz
        low = [lr4_low_pass(f, rate_hz=rate_hz) for f in EDGES_HZ]
        high = [lr4_high_pass(f, rate_hz=rate_hz) for f in EDGES_HZ]
        self._bottom = _Section([lr4_high_pass(BOTTOM_HZ, rate_hz=rate_hz)], 2)
        self._lowest = _Section([low[0]], 2)
        self._under_middle = _Section([low[1]], 2)
        self._middle = _Section([high[0]], 2)
        self._upper = _Section([high[1], low[2]], 2)
        self._below: _Section | None = None
        if crossover_hz != EDGES_HZ[1]:
            self._below = _Section([lr4_low_pass(crossover_hz, rate_hz=rate_hz)], 2)

    def process(self, window: Window, *, blocks: int) -> tuple[Floats, int]:
        """Sums of squares and products, as `sums_of` has them, of the newest frames."""
        return self.sums_of(self.decimated(window, blocks=blocks), blocks=blocks)

    def decimated(self, window: Window, *, blocks: int) -> Floats:
        """Newest frames at the lower rate, shape (2, outputs): the way to `sums_of`, and of use to others."""
        return self._decimator.process(window, blocks=blocks)

    def sums_of(self, decimated: Floats, *, blocks: int) -> tuple[Floats, int]:
        """Sums of squares and products.

        Parameters
        ----------
        decimated : ndarray, shape (2, outputs)
            From `decimated`; not changed.

        Returns
        -------
        sums : ndarray, shape (blocks, 4, 3)
            Σ L², Σ R², Σ L·R of the bands 20-60, 60-120, 120-250 Hz and below the crossover.
        count : int
            Values summed in each block (of the decimated signal).
        """
        samples = self._bottom.process(decimated)
        count = samples.shape[1] // blocks
        # Everything below 120 Hz is wanted twice: as it is (the usual crossover), and less what is below 60.
        under_middle = self._under_middle.process(samples)
        bands = (
            self._lowest.process(samples),
            self._middle.process(under_middle),
            self._upper.process(samples),
            self._below.process(samples) if self._below else under_middle,
        )
        sums = np.empty((blocks, len(bands), 3))
        values = np.array(bands).reshape(len(bands), 2, blocks, -1)
        sums[:, :, :2] = np.vecdot(values, values).transpose(2, 0, 1)
        sums[:, :, 2] = np.vecdot(values[:, 0], values[:, 1]).T
        return sums, count

    def settle(self, floor: float) -> None:
        """In silence: let memories under `floor` become zero, before they become denormal and slow."""
        for section in self._sections():
            section.settle(floor)

    def is_at_rest(self) -> bool:
        """Whether every memory is zero."""
        return not any(section.state.any() for section in self._sections())

    def count_in(self, frames: int) -> int:
        """Values of the decimated signal in a whole block."""
        return frames // self._decimator.factor

    def reset(self) -> None:
        """As a new object."""
        self._decimator.reset()
        for section in self._sections():
            section.reset()

    def _sections(self) -> list[_Section]:
        every = (self._bottom, self._lowest, self._under_middle, self._middle, self._upper, self._below)
        return [section for section in every if section is not None]
