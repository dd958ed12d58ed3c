"""A master through an encoder and back: its true peak, overs with their places, loudness, and the trim.

Source
------
True peak and loudness: the chain's own (ITU-R BS.1770-5). That overs come from lossy coding: common
knowledge of the trade; AES TD1008 asks for more headroom at low bit rates (SEEN-S).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np

from meter.chain import Chain
from meter.delivery.align import aligned, joined
from meter.delivery.codecs import EncodeError, Float32s, Wish, decoded, encoded, rate_for
from meter.delivery.progress import Tell, part_of, quiet
from meter.delivery.resample import resampled
from meter.delivery.trim import Heights, trim_for
from meter.soundings import Over
from meter.units import amplitude_to_db

LONGEST_S: Final = 15 * 60.0
"""The whole of it is held in memory."""
SHORTEST_S: Final = 0.1

WITHOUT_TRIM: Final = 0.5
"""Share of the work that is done before a trim is looked for, for want of a better guess."""
ENCODING: Final = 0.6
"""Share of encoding in the time of encoding, decoding and measuring: seen, 0.5 to 0.7."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Encoded:
    """What one encoder at one rate makes of a master.

    Attributes
    ----------
    wish : Wish
    rate_hz : int
        That was encoded at.
    true_peak_dbtp : float
        Of what is decoded.
    overs : tuple of Over
        Above the ceiling, with their places; `over_count` may be larger.
    over_count : int
    integrated_change_lu : float or None
        None where there is no loudness.
    trim_db : float or None
        So much lower it stays under the ceiling, 0 and above; None where it was not looked for, or not found.
    bytes_a_second : float
    """

    wish: Wish
    rate_hz: int
    ceiling_dbtp: float
    true_peak_dbtp: float
    overs: tuple[Over, ...]
    over_count: int
    integrated_change_lu: float | None
    trim_db: float | None
    bytes_a_second: float


def encode_check(
    frames: Float32s,
    rate_hz: int,
    wish: Wish,
    *,
    ceiling_dbtp: float = 0.0,
    integrated_lufs: float | None = None,
    finds_trim: bool = True,
    tell: Tell | None = None,
) -> Encoded:
    """Encode, decode, measure, and look for the trim where it goes over.

    Parameters
    ----------
    frames : ndarray of float32, shape (n, channels)
        A master of one or two channels, up to 15 minutes.
    integrated_lufs : float, optional
        Of the master, where it is known already.
    tell : callable, optional
        Called several times a second with what is being done and the share that is, 0 to 1.

    Raises
    ------
    EncodeError
        One sentence.
    """
    look_at(len(frames) / rate_hz, frames.shape[1])
    if not np.isfinite(frames).all():
        raise EncodeError("it holds samples that are no numbers, which no encoder takes; render it again")
    tell = tell or quiet
    tell(wish.title, 0.0)
    to_hz = rate_for(wish.codec, rate_hz)
    there = resampled(frames, rate_hz, to_hz)
    whole = WITHOUT_TRIM if finds_trim else 1.0
    data = encoded(there, to_hz, wish, tell=part_of(tell, wish.title, 0.0, ENCODING * whole))
    chain, heights = _measured(
        data, there, to_hz, ceiling_dbtp, part_of(tell, wish.title, ENCODING * whole, whole)
    )
    peak_dbtp = amplitude_to_db(float(chain.totals.true_peaks.max(initial=0.0)))
    if integrated_lufs is None:
        integrated_lufs = _integrated(there, to_hz)
    trim: float | None = None
    if finds_trim:
        is_over = peak_dbtp > ceiling_dbtp
        trim = trim_for(there, to_hz, wish, ceiling_dbtp, heights, tell, begin=whole) if is_over else 0.0
    return Encoded(
        wish=wish,
        rate_hz=to_hz,
        ceiling_dbtp=ceiling_dbtp,
        true_peak_dbtp=peak_dbtp,
        overs=tuple(chain.overs),
        over_count=chain.over_count,
        integrated_change_lu=_difference_lu(chain.loudness.integrated_lufs(), integrated_lufs),
        trim_db=trim,
        bytes_a_second=len(data) / (len(there) / to_hz),
    )


def _measured(
    data: bytes, original: Float32s, rate_hz: int, ceiling_dbtp: float, tell: Callable[[float], None]
) -> tuple[Chain, Heights]:
    """A chain through which all of it went, and the peak of each sounding."""
    parts, frames = [], 0
    with Chain(
        rate_hz=rate_hz, channels=original.shape[1], over_limit_dbtp=ceiling_dbtp, low_end=False
    ) as chain:
        for block in joined(aligned(decoded(data), original)):
            parts.append(Heights.of(chain.process(block)))  # the soundings hold 2000 bytes each, and go
            frames += len(block)
            tell(frames / len(original))
        parts.append(Heights.of(chain.flush()))
    return chain, Heights.joined(parts)


def _difference_lu(after: float | None, before: float | None) -> float | None:
    if after is None or before is None or not (math.isfinite(after) and math.isfinite(before)):
        return None
    return after - before


def look_at(seconds: float | None, channels: int) -> None:
    """Whether the encoders are tried with such a master; None: it is not known how long it is.

    Raises
    ------
    EncodeError
        They are not; one sentence.
    """
    if channels > 2:
        raise EncodeError(
            f"there are {channels} channels, but the encoders are tried with mono and stereo; "
            "export it in stereo, or check two of its channels"
        )
    if seconds is None or SHORTEST_S <= seconds <= LONGEST_S:
        return
    long_text = f"{seconds:.2f} s" if seconds < 1.0 else f"{int(seconds) // 60}:{int(seconds) % 60:02d}"
    raise EncodeError(
        f"it is {long_text} long, but {SHORTEST_S:g} s to {LONGEST_S / 60.0:.0f} minutes were "
        "expected; give one tune, or a part of it"
    )


def _integrated(frames: Float32s, rate_hz: int) -> float | None:
    with Chain(rate_hz=rate_hz, channels=frames.shape[1], low_end=False) as chain:
        chain.process(frames)
        chain.flush()
        return chain.loudness.integrated_lufs()
