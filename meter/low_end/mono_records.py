"""Records of what a mono system makes of the low end."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Float32s = npt.NDArray[np.float32]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MonoMap:
    """Left and right against frequency and time: what is drawn, and what all figures are taken from.

    Attributes
    ----------
    hz : ndarray, shape (bands,)
        Middles of the bands, 20 to 250 Hz.
    at_s : ndarray, shape (columns,)
        Where each column of one second begins; behind a gap, or at the end, it may hold less.
    powers : ndarray of float32, shape (columns, bands, 4)
        Of each band: mean square of left, of right, real and imaginary part of their cross-spectrum. The
        imaginary part is positive where the right channel comes later.
    """

    hz: npt.NDArray[np.float64]
    at_s: npt.NDArray[np.float64]
    powers: Float32s


@dataclass(frozen=True, slots=True, kw_only=True)
class BandLoss:
    """A band over a pass; None where it is too quiet to tell.

    Attributes
    ----------
    hz : float
    lost_db : float or None
        0 and below, shown no lower than -60.
    phase_deg : float or None
        -180 to 180; positive: the right channel is behind.
    """

    hz: float
    lost_db: float | None
    phase_deg: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class IfSummed:
    """What a system costs that sums everything below a frequency to mono.

    Attributes
    ----------
    below_hz : float
    lost_db : float or None
        Of what lies below that frequency.
    low_end_db : float or None
        Change of everything from 20 to 250 Hz.
    """

    below_hz: float
    lost_db: float | None
    low_end_db: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class WorstPlace:
    """Three seconds in which much is lost below the crossover."""

    at_s: float
    seconds: float
    lost_db: float


@dataclass(frozen=True, slots=True, kw_only=True)
class MonoSummary:
    """The low end of a pass on a mono system.

    Attributes
    ----------
    bands : tuple of BandLoss
    if_summed : tuple of IfSummed
        For the crossover frequencies that clubs use.
    worst : tuple of WorstPlace
        The worst first.
    flipped_below_hz : float or None
        Up to here one channel is the other upside down, steadily.
    delay_ms : float or None
        By so much the right channel is behind, steadily; negative: the left one.
    """

    bands: tuple[BandLoss, ...]
    if_summed: tuple[IfSummed, ...]
    worst: tuple[WorstPlace, ...]
    flipped_below_hz: float | None
    delay_ms: float | None
