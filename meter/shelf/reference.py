"""What the shelf keeps of a pass: numbers and a spectrum, never audio."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any, Final

import numpy as np

from meter.errors import JournalError
from meter.soundings import BANDS, SOUNDINGS_A_SECOND, Soundings, Summary
from meter.units import Floats, power_to_db

SHARE_BANDS: Final = ("20-60", "60-120")
"""Bands whose share of the sound is kept."""

FORM: Final = 1
"""Version of what is written."""

_FULL: Final = BANDS.index("full")


@dataclass(frozen=True, slots=True, kw_only=True)
class Reference:
    """The numbers of a pass by which others are compared with it.

    Attributes
    ----------
    name : str
        For people.
    origin : str
        "file", or "heard live".
    seconds : float
    integrated_lufs, loudest_30s_lufs, loudness_range_lu, peak_to_loudness_lu, true_peak_dbtp : float or None
        As `Summary` has them.
    loudest_30s_at_s : float or None
        Where they begin.
    loudest_30s_is_whole : bool
        It is shorter than 30 s, and all of it stands in.
    fold_loss_db : dict
        Lost in mono over the whole pass, by band; None where there is nothing or one channel.
    share_db : dict
        Level of a low band (`SHARE_BANDS`) in the loudest 30 s against all of their sound, dB.
    spectrum_db : tuple of (float or None), or None
        Mean square of each third-octave band in the loudest 30 s, dB re full scale, the channels summed
        with their loudness weights. None where there were no samples: of a pass that was heard live.
    """

    name: str
    origin: str
    seconds: float
    integrated_lufs: float | None
    loudest_30s_lufs: float | None
    loudest_30s_at_s: float | None
    loudest_30s_is_whole: bool
    loudness_range_lu: float | None
    peak_to_loudness_lu: float | None
    true_peak_dbtp: float | None
    fold_loss_db: dict[str, float | None]
    share_db: dict[str, float | None]
    spectrum_db: tuple[float | None, ...] | None

    @property
    def is_mono(self) -> bool:
        """Whether it has one channel: of two something can be lost in mono."""
        return self.fold_loss_db.get("full") is None


def reference_of(
    summary: Summary,
    rows: Soundings,
    *,
    name: str,
    origin: str,
    spectrum: Floats | None = None,
) -> Reference:
    """What is kept of a pass.

    Parameters
    ----------
    summary : Summary
        Of all of it.
    rows : ndarray of `SOUNDING`
        All of it.
    name, origin : str
    spectrum : ndarray, optional
        As `third_octave_powers` gives it.
    """
    loudest = loudest_rows(summary, rows)
    return Reference(
        name=name,
        origin=origin,
        seconds=summary.seconds,
        integrated_lufs=_finite(summary.integrated_lufs),
        loudest_30s_lufs=_finite(summary.loudest_30s_lufs),
        loudest_30s_at_s=summary.loudest_30s_at_s,
        loudest_30s_is_whole=summary.loudest_30s_is_whole,
        loudness_range_lu=_finite(summary.loudness_range_lu),
        peak_to_loudness_lu=_finite(summary.peak_to_loudness_lu),
        true_peak_dbtp=_finite(summary.true_peak_dbtp),
        fold_loss_db={band: summary.fold_loss_db.get(band) for band in BANDS},
        share_db={band: _share_db(loudest, band) for band in SHARE_BANDS},
        spectrum_db=None if spectrum is None else tuple(_level_db(power) for power in spectrum.tolist()),
    )


def loudest_rows(summary: Summary, rows: Soundings) -> Soundings:
    """The soundings of the loudest 30 s; all of them where a shorter pass stands in whole."""
    if summary.loudest_30s_at_s is None or summary.loudest_30s_is_whole:
        return rows
    frame = round(summary.loudest_30s_at_s * summary.sample_rate_hz)
    first = int(np.searchsorted(rows["start_frame"], frame))
    return rows[first : first + 30 * SOUNDINGS_A_SECOND]


def _share_db(rows: Soundings, band: str) -> float | None:
    frames = rows["frames"].astype(np.float64)
    column = BANDS.index(band)
    part, whole = (
        float((rows["ll"][:, at].astype(np.float64) + rows["rr"][:, at].astype(np.float64)) @ frames)
        for at in (column, _FULL)
    )
    return power_to_db(part / whole) if part > 0.0 and whole > 0.0 else None


def _level_db(power: float) -> float | None:
    return power_to_db(power) if power > 0.0 else None  # NaN is not above 0 either


def _finite(value: float | None) -> float | None:
    return value if value is not None and math.isfinite(value) else None


# --- as text


def to_text(reference: Reference) -> str:
    """The reference as JSON, without its name: that stands beside it and can be changed."""
    made = asdict(reference)
    del made["name"]
    return json.dumps({"form": FORM, **made}, allow_nan=False)


def from_text(name: str, text: str) -> Reference:
    """The reference that `to_text` wrote.

    Raises
    ------
    JournalError
        It is none, or of a newer form.
    """
    try:
        made: dict[str, Any] = json.loads(text)
        if made.pop("form") != FORM:
            raise ValueError("another form")
        spectrum: Sequence[float | None] | None = made.pop("spectrum_db")
        return Reference(name=name, spectrum_db=None if spectrum is None else tuple(spectrum), **made)
    except (ValueError, TypeError, KeyError) as error:
        raise JournalError(
            f"the reference {name!r} on the shelf cannot be read ({error}); take it away with "
            f"`leadline shelf remove` and add it again"
        ) from error
