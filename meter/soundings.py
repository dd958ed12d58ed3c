"""The sounding: one row of 100 ms that keeps every measure of that moment.

A pass is an array of these rows (`SOUNDING`), small enough to keep for hours and complete
enough that any part of a pass can be measured again from them. Powers are mean squares
over the frames of the row, full scale 1.0, so a row that a gap cut short is still right.

The bands are named once, here. ``below_crossover`` follows the user's crossover; ``full``
is the whole spectrum without the 20 Hz high-pass.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
import numpy.typing as npt

SOUNDINGS_A_SECOND: Final = 10
"""Soundings come every 100 ms. EBU Tech 3341 v4 §2.2 asks for at least 10 Hz for S."""

CELLS_A_SECOND: Final = 100
"""Energies are taken on a 10 ms grid: a 100 ms grid misses the maximum M of a 400 ms burst
by 0.45 LU (EBU Tech 3341 v4, case 13)."""

CELLS_A_SOUNDING: Final = CELLS_A_SECOND // SOUNDINGS_A_SECOND

MAX_CHANNELS: Final = 6
"""Up to 5.1. With more inputs a pair is chosen first."""

LOW_BANDS: Final = ("20-60", "60-120", "120-250", "below_crossover")
"""Low bands, LR4 with an LR4 high-pass at 20 Hz; Hz in the name."""

BANDS: Final = (*LOW_BANDS, "full")
"""All bands that keep left/right sums."""

CUT_SHORT: Final = 1
"""Flag: a gap or the end of the pass closed the row before its 100 ms were full."""

BEFORE_GAP: Final = 2
"""Flag: frames were lost right after this row."""

AFTER_GAP: Final = 4
"""Flag: frames were lost right before this row; filters and the grid start anew here."""

NONFINITE: Final = 8
"""Flag: the row holds samples that were no numbers; they were replaced by 0, and the row
stays out of I, LRA and the maxima."""

SOUNDING: Final = np.dtype(
    [
        ("start_frame", np.int64),  # since the start of the pass, lost frames included
        ("frames", np.int32),
        ("flags", np.uint16),
        ("overs", np.uint16),  # true-peak overs that begin in this row
        ("nonfinite", np.uint32),  # samples replaced by 0
        ("k_power", np.float32, MAX_CHANNELS),  # K-weighted mean square of each channel
        ("momentary_max", np.float32),  # highest weighted K power over 400 ms ending here, NaN: none
        ("short_term_max", np.float32),  # the same over 3 s
        ("true_peak", np.float32, MAX_CHANNELS),  # amplitude
        ("sample_peak", np.float32, MAX_CHANNELS),  # amplitude
        ("ll", np.float32, len(BANDS)),  # mean square of the left (first) channel
        ("rr", np.float32, len(BANDS)),
        ("lr", np.float32, len(BANDS)),  # mean product of left and right
        ("flat_tops", np.uint16),  # found in this row, in all channels; they began up to 50 ms earlier
        ("flat_frames", np.uint16),  # the longest of them
        ("dropouts", np.uint16),  # found in this row; they ended up to 50 ms earlier
        ("dropout_frames", np.uint32),  # all of them together
        ("dc", np.float32, MAX_CHANNELS),  # mean sample of each channel
    ]
)
"""One row (<= 200 bytes). NaN stands for "none yet" in the two maxima only."""

_FIELDS: Final = SOUNDING.fields
assert _FIELDS is not None
BANDS_OVERLAY: Final = np.dtype(
    {
        "names": ["bands"],
        "formats": [np.dtype((np.float32, (3, len(BANDS))))],
        "offsets": [_FIELDS["ll"][1]],
        "itemsize": SOUNDING.itemsize,
    }
)
"""The same row with ``ll``, ``rr`` and ``lr``, which lie side by side, as one field."""

Soundings = npt.NDArray[np.void]
"""Rows of `SOUNDING`, shape (n,)."""


def empty_soundings() -> Soundings:
    """No rows."""
    return np.empty(0, SOUNDING)


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """Frames that were lost: where (seconds since the start of the pass) and how many."""

    at_s: float
    frames: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Over:
    """One excursion of the true peak above the limit; nearer than 10 ms is the same one."""

    at_s: float
    until_s: float
    peak_dbtp: float
    channel: int


@dataclass(frozen=True, slots=True, kw_only=True)
class EyeLevels:
    """Levels of 50 ms, to be looked at: they say that something sounds, and on which side.

    Attributes
    ----------
    momentary_lufs : float or None
        M at their end; None before 400 ms have come, and where samples were no numbers.
    peaks_dbfs : tuple of float
        Highest sample of each channel in them; ``-inf`` in silence.
    """

    momentary_lufs: float | None
    peaks_dbfs: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """What the chain knows now. ``None`` = not yet or does not apply, ``-inf`` = silence.

    Integrated values, maxima and peaks run since the start of the pass, the last gap or mark.
    """

    at_s: float
    momentary_lufs: float | None
    short_term_lufs: float | None
    integrated_lufs: float | None
    loudness_range_lu: float | None
    loudness_range_stable: bool
    momentary_max_lufs: float | None
    short_term_max_lufs: float | None
    loudest_30s_lufs: float | None
    loudest_30s_at_s: float | None
    true_peak_dbtp: tuple[float, ...]  # per channel, last 100 ms
    true_peak_max_dbtp: tuple[float, ...]  # per channel
    sample_peak_max_dbfs: tuple[float, ...]
    peak_to_loudness_lu: float | None
    short_term_peak_to_loudness_lu: float | None
    correlation: float | None  # 400 ms
    correlation_3s: float | None
    fold_loss_db: dict[str, float | None]  # 400 ms, one key a band
    fold_loss_3s_db: dict[str, float | None]
    low_correlation: float | None  # below the crossover, 3 s
    overs: int
    lost_frames: int
    nonfinite_samples: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Summary:
    """The numbers of a whole pass, from its soundings. Same conventions as `Reading`.

    Correlation and fold loss come from the sums over the whole pass.
    """

    seconds: float
    sample_rate_hz: float
    channels: int
    integrated_lufs: float | None
    loudness_range_lu: float | None
    loudness_range_stable: bool
    momentary_max_lufs: float | None
    short_term_max_lufs: float | None
    loudest_30s_lufs: float | None
    loudest_30s_at_s: float | None
    loudest_30s_is_whole: bool  # the pass is shorter than 30 s: its whole length stands in
    true_peak_dbtp: float | None
    true_peaks_dbtp: tuple[float, ...]
    sample_peak_dbfs: float | None
    peak_to_loudness_lu: float | None
    short_term_peak_to_loudness_lu: float | None  # smallest over the pass
    correlation: float | None
    fold_loss_db: dict[str, float | None]
    low_correlation: float | None
    overs: int
    lost_frames: int
    gaps: tuple[Gap, ...]
    nonfinite_samples: int
    flat_top_runs: int = 0
    dropouts: int = 0
    dc_offset: tuple[float, ...] = ()  # mean sample of each channel, full scale 1.0
    why_null: dict[str, str] = field(default_factory=dict)  # key -> "silence" | "not yet" | "does not apply"


def as_text_time(at_s: float) -> str:
    """m:ss.t of a moment, from an hour on h:mm:ss.t, as every sentence of the program writes it."""
    tenths = round(at_s * 10.0)
    minutes, rest = divmod(tenths, 600)
    place = f"{minutes}" if minutes < 60 else f"{minutes // 60}:{minutes % 60:02d}"
    return f"{place}:{rest // 10:02d}.{rest % 10}"


def field_names() -> tuple[str, ...]:
    """Names of the columns of a row, in order."""
    names: Any = SOUNDING.names
    return tuple(names)
