"""A master through an encoder and back: its true peak, overs with their places, loudness, and the trim.

Source
------
True peak and loudness: the chain's own (ITU-R BS.1770-5). That overs come from lossy coding: common
knowledge of the trade; AES TD1008 asks for more headroom at low bit rates (SEEN-S).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np

from meter.chain import Chain
from meter.delivery.codecs import EncodeError, Float32s, Wish, decoded, encoded, rate_for
from meter.soundings import Over
from meter.units import amplitude_to_db, db_to_amplitude

LONGEST_S: Final = 15 * 60.0
"""The whole of it is held in memory."""
SHORTEST_S: Final = 0.1

ALIGN_S: Final = 4.0
FARTHEST_FRAMES: Final = 8192
"""No encoder here delays by more."""

STEP_DB: Final = 0.1
HELD_DB: Final = 0.5
"""A trim counts when every larger one, up to so much, keeps under the ceiling too: the decoded peak does not
fall steadily."""
MOST_TRIM_DB: Final = 20.0
NEAR_DB: Final = 1.0
"""Places that come so near the ceiling are tried again with each trim."""
LEAD_S: Final = 1.0
TAIL_S: Final = 0.5
MOST_PLACES: Final = 10
PIECE_FRAMES: Final = 96_000
WHOLE_SHARE: Final = 0.5
"""Where the places are so much of the whole, the whole is tried again."""

Progress = Callable[[str], None]


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
    progress: Progress | None = None,
) -> Encoded:
    """Encode, decode, measure, and look for the trim where it goes over.

    Parameters
    ----------
    frames : ndarray of float32, shape (n, channels)
        A master of one or two channels, up to 15 minutes.
    integrated_lufs : float, optional
        Of the master, where it is known already.
    progress : callable, optional
        Called with what is being done.

    Raises
    ------
    EncodeError
        One sentence.
    """
    _look_at(frames, rate_hz)
    tell = progress or (lambda text: None)
    tell(wish.title)
    to_hz = rate_for(wish.codec, rate_hz)
    there = resampled(frames, rate_hz, to_hz)
    data = encoded(there, to_hz, wish)
    with Chain(
        rate_hz=to_hz, channels=there.shape[1], over_limit_dbtp=ceiling_dbtp, low_end=False
    ) as chain:
        for block in _joined(aligned(decoded(data), there)):
            chain.process(block)
        chain.flush()
        peak = float(chain.totals.true_peaks.max(initial=0.0))
        overs, count = tuple(chain.overs), chain.over_count
        after = chain.loudness.integrated_lufs()
    if integrated_lufs is None:
        integrated_lufs = _integrated(there, to_hz)
    trim: float | None = None
    if finds_trim:
        is_over = amplitude_to_db(peak) > ceiling_dbtp
        trim = _trim(there, to_hz, wish, ceiling_dbtp, amplitude_to_db(peak), tell) if is_over else 0.0
    return Encoded(
        wish=wish,
        rate_hz=to_hz,
        ceiling_dbtp=ceiling_dbtp,
        true_peak_dbtp=amplitude_to_db(peak),
        overs=overs,
        over_count=count,
        integrated_change_lu=_difference_lu(after, integrated_lufs),
        trim_db=trim,
        bytes_a_second=len(data) / (len(there) / to_hz),
    )


def _difference_lu(after: float | None, before: float | None) -> float | None:
    if after is None or before is None or not (math.isfinite(after) and math.isfinite(before)):
        return None
    return after - before


def _look_at(frames: Float32s, rate_hz: int) -> None:
    seconds, channels = len(frames) / rate_hz, frames.shape[1]
    if channels > 2:
        raise EncodeError(
            f"there are {channels} channels, but the encoders are tried with mono and stereo; "
            "choose a pair with --channels, or make a stereo file first"
        )
    if not SHORTEST_S <= seconds <= LONGEST_S:
        raise EncodeError(
            f"it is {seconds:.2f} s long, but {SHORTEST_S:g} s to {LONGEST_S / 60.0:.0f} minutes were "
            "expected; give one tune, or a part of it with --from and --to"
        )
    if not np.isfinite(frames).all():
        raise EncodeError("it holds samples that are no numbers, which no encoder takes; render it again")


def resampled(frames: Float32s, rate_hz: int, to_hz: int) -> Float32s:
    """At another rate, in floating point; as it is where nothing is to be done."""
    if rate_hz == to_hz:
        return frames
    from scipy import signal  # takes a second: only where a rate must change

    common = math.gcd(rate_hz, to_hz)
    made = signal.resample_poly(frames, to_hz // common, rate_hz // common, axis=0, window=("kaiser", 12.0))
    return np.asarray(made, np.float32)


def aligned(blocks: Iterable[Float32s], original: Float32s) -> Iterator[Float32s]:
    """Decoded blocks, cut to begin and end with the original, which they are held against.

    Raises
    ------
    EncodeError
        They are another sound, or another length by far.
    """
    source = iter(blocks)
    first = _first(source, original)
    lag = _lag_frames(first, original)
    left = len(original)
    skip = max(lag, 0)
    if lag < 0:  # what the codec cut off; not seen with any here
        left += lag
    for block in _with_first(first, source):
        part = block[skip:]
        skip = max(skip - len(block), 0)
        part = part[:left]
        left -= len(part)
        if len(part):
            yield part
        if left <= 0:
            return


def _loud_place(original: Float32s, count: int) -> int:
    """Where a stretch begins that is not silent: the first whose level is near the loudest of all."""
    starts = np.arange(0, max(len(original) - count, 0) + 1, max(count // 2, 1))
    powers = np.array([float(np.square(original[at : at + count], dtype=np.float64).mean()) for at in starts])
    return int(starts[int(np.argmax(powers >= 0.1 * powers.max()))])


def _first(source: Iterator[Float32s], original: Float32s) -> list[Float32s]:
    """So many blocks that the stretch that is compared lies in them."""
    count = _stretch(original)
    wanted = _loud_place(original, count) + count + 2 * FARTHEST_FRAMES
    parts: list[Float32s] = []
    have = 0
    for block in source:
        parts.append(block)
        have += len(block)
        if have >= wanted:
            break
    return parts


def _joined(blocks: Iterable[Float32s]) -> Iterator[Float32s]:
    """In pieces of some seconds: packets hold 20 ms, and for these to begin is all that the chain does."""
    parts: list[Float32s] = []
    have = 0
    for block in blocks:
        parts.append(block)
        have += len(block)
        if have >= PIECE_FRAMES:
            yield np.concatenate(parts)
            parts, have = [], 0
    if parts:
        yield np.concatenate(parts)


def _with_first(first: list[Float32s], rest: Iterator[Float32s]) -> Iterator[Float32s]:
    yield from first
    yield from rest


def _stretch(original: Float32s) -> int:
    return min(len(original), round(ALIGN_S * 48_000))


def _lag_frames(first: list[Float32s], original: Float32s) -> int:
    """By how many frames the decoded sound is late: where it is most like the original."""
    count = _stretch(original)
    at = _loud_place(original, count)
    wave = original[at : at + count].sum(axis=1, dtype=np.float64)
    if not wave.any():
        return 0
    whole = np.concatenate(first).sum(axis=1, dtype=np.float64)
    begin = max(at - FARTHEST_FRAMES, 0)
    around = whole[begin : at + count + FARTHEST_FRAMES]
    size = 1 << (len(wave) + len(around)).bit_length()
    product = np.fft.rfft(around, size) * np.fft.rfft(wave, size).conj()
    likeness = np.fft.irfft(product, size)
    lags = np.arange(-FARTHEST_FRAMES, FARTHEST_FRAMES + 1)
    # Only places where it can lie; the first of equal ones.
    return int(lags[int(np.argmax(likeness[(lags + at - begin) % size]))])


def _integrated(frames: Float32s, rate_hz: int) -> float | None:
    with Chain(rate_hz=rate_hz, channels=frames.shape[1], low_end=False) as chain:
        chain.process(frames)
        chain.flush()
        return chain.loudness.integrated_lufs()


# --- the trim


def _trim(
    frames: Float32s, rate_hz: int, wish: Wish, ceiling_dbtp: float, peak_dbtp: float, tell: Progress
) -> float | None:
    """The smallest trim that keeps under the ceiling, as do all larger ones up to half a decibel more."""
    places = _places(frames, rate_hz, wish, ceiling_dbtp)
    trim = max(round(peak_dbtp - ceiling_dbtp - HELD_DB, 1), STEP_DB)
    held = round(HELD_DB / STEP_DB)
    kept: dict[int, bool] = {}

    def is_under(tenths: int) -> bool:
        if tenths not in kept:
            tell(f"{wish.title}, {tenths * STEP_DB:.1f} dB lower")
            gain = db_to_amplitude(-tenths * STEP_DB)
            # Every place is its own: one that fails ends the trial.
            kept[tenths] = all(
                _peak_dbtp(frames[part] * gain, rate_hz, wish) <= ceiling_dbtp for part in places
            )
        return kept[tenths]

    tenths = round(trim / STEP_DB)
    while tenths * STEP_DB <= MOST_TRIM_DB:
        against = next((k for k in range(tenths + held, tenths - 1, -1) if not is_under(k)), None)
        if against is not None:
            tenths = against + 1
            continue
        gain = db_to_amplitude(-tenths * STEP_DB)
        tell(f"{wish.title}, all of it {tenths * STEP_DB:.1f} dB lower")
        if _peak_dbtp(frames * np.float32(gain), rate_hz, wish) <= ceiling_dbtp:
            return round(tenths * STEP_DB, 1)
        kept[tenths] = False
        tenths += 1
    return None


def _places(frames: Float32s, rate_hz: int, wish: Wish, ceiling_dbtp: float) -> list[slice]:
    """Stretches around all that comes near the ceiling, the highest first."""
    rows = []
    with Chain(rate_hz=rate_hz, channels=frames.shape[1], low_end=False) as chain:
        for block in _joined(aligned(decoded(encoded(frames, rate_hz, wish)), frames)):
            rows.append(chain.process(block))
        rows.append(chain.flush())
    soundings = np.concatenate(rows)
    # Of soundings, not overs: what goes over all the time is one over, and has its highest place anywhere.
    peaks = soundings["true_peak"].max(axis=1)
    near = np.flatnonzero(peaks >= db_to_amplitude(ceiling_dbtp - NEAR_DB))
    found: list[slice] = []
    for row in near[np.argsort(-peaks[near], kind="stable")].tolist():
        first = int(soundings["start_frame"][row])
        stop = first + int(soundings["frames"][row])
        if any(part.start + round(LEAD_S * rate_hz / 2) <= first and stop <= part.stop for part in found):
            continue
        start = max(first - round(LEAD_S * rate_hz), 0)
        found.append(slice(start, min(stop + round(TAIL_S * rate_hz), len(frames))))
        if len(found) == MOST_PLACES:
            break
    if sum(part.stop - part.start for part in found) >= WHOLE_SHARE * len(frames):
        return [slice(0, len(frames))]  # nothing is saved, and an encoder that begins elsewhere differs
    return found


def _peak_dbtp(frames: Float32s, rate_hz: int, wish: Wish) -> float:
    """True peak of what comes back of a stretch."""
    frames = np.asarray(frames, np.float32)
    with Chain(rate_hz=rate_hz, channels=frames.shape[1], low_end=False) as chain:
        for block in _joined(decoded(encoded(frames, rate_hz, wish))):
            chain.process(block)
        chain.flush()
        return amplitude_to_db(float(chain.totals.true_peaks.max(initial=0.0)))
