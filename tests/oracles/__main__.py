"""Writes docs/oracles.md: what independent libraries read of real music, less what Leadline reads."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from importlib.metadata import version
from math import gcd
from pathlib import Path

import av
import numpy as np
import pyloudnorm
import soundfile
from scipy import signal

from meter.passes import measure
from meter.units import Samples, amplitude_to_db, db_to_amplitude
from tests.support import debian, endless, ffmpeg

PAGE = Path(__file__).resolve().parents[2] / "docs" / "oracles.md"
MINUTE_S = 60
BAND_EDGES = (0.4535, 0.47, endless.BAND_EDGE, 0.495)
GAINS_DB = (0.0, 6.0, 12.0)

HEAD = """# What others read of the same music

Leadline's reading less that of an independent library, on the first minute of {count} pieces from the
Debian packages of `tests/packages.txt`, numbered in the order of their paths; both get the very same
samples, decoded by libsndfile. `tests/oracles` holds it: a part at every run, whole pieces with
`--long`. This page is written by `python -m tests.oracles`.

- Loudness and range: FFmpeg {ffmpeg}, filter `ebur128`, through PyAV {av}. It sorts blocks into bins
  of 0.01 LU, so its I stands about 0.005 LU low, and its K-weighting at 44.1 kHz is a bilinear one.
- I again: pyloudnorm {pyloudnorm}, filter class DeMan, whole 100 ms, 44.1 kHz resampled to 48 kHz for both.
- True peak: FFmpeg again, and a 32-fold interpolation (`tests/support/endless.py`, scipy {scipy}); the wider
  of the two channels. FFmpeg itself is off where much lies above 20 kHz: there the last column decides.

The documents behind them: ITU-R BS.1770-5 (11/2023), EBU Tech 3341 v4 and Tech 3342 v4 (2023).
Limits, and the widest difference over these pieces:

| | FFmpeg I, LU | pyloudnorm I, LU | FFmpeg LRA, LU | FFmpeg true peak, dB | 32-fold true peak, dB |
|---|---|---|---|---|---|
| limit | 0.02 | 0.02 | 0.1 | 0.05 where nothing is clipped | 0.05 |
"""

CLIPPED = """
## Clipped material

The same minutes driven into a hard ceiling, both channels, against 32-fold interpolations whose pass
bands end at different shares of the rate (all are 80 dB down from the mirror image of that edge, and
leave the samples as they are). Hard edges have content up to half the rate, and what comes out of
a converter depends on where its filter begins. No document names an edge, so no reading can be
nearer to "the" truth than the interpolations are to each other, the last column. Leadline's own pass
band ends at 0.48 of the rate.

Widest apart: {name}, channel {channel}, driven by {gain_db:g} dB, where around the peak {share_pct:.0f} % of
the power lies above 20 kHz. Bands to {ends} of the rate give
{ideal} dBTP; Leadline reads {own:+.2f}, FFmpeg {other:+.2f}.

| driven by | {edges} | FFmpeg | the interpolations among themselves |
|---|{dashes}
"""


@dataclass(frozen=True, slots=True)
class Piece:
    """The first minute of a piece."""

    name: str
    samples: Samples
    rate_hz: int


@dataclass(frozen=True, slots=True)
class Clipped:
    """What was read of one channel driven into the ceiling, dBTP; `ideal` by band edge."""

    name: str
    channel: int
    gain_db: float
    own: float
    other: float
    ideal: tuple[float, ...]
    high_share_pct: float

    @property
    def apart_db(self) -> float:
        """How far the interpolations differ."""
        return max(self.ideal) - min(self.ideal)


def pieces() -> Iterator[Piece]:
    """Every stereo piece of a minute or more, under a number instead of its title."""
    for package in debian.music_packages():
        number = 0
        for path in debian.audio_files([package]):
            facts = soundfile.info(str(path))
            if facts.duration >= MINUTE_S and facts.channels == 2:
                number += 1
                samples, rate_hz = soundfile.read(
                    str(path), dtype="float32", frames=MINUTE_S * facts.samplerate
                )
                yield Piece(f"{package} {number}", samples, rate_hz)


def loudness_row(piece: Piece) -> list[float]:
    """Differences of one piece as it is."""
    theirs = ffmpeg.opinion(piece.samples, rate_hz=piece.rate_hz)
    ours = measure(piece.samples, rate_hz=piece.rate_hz)
    ideal = [amplitude_to_db(endless.peak(channel)) for channel in piece.samples.T]
    common = gcd(48_000, piece.rate_hz)
    up, down = 48_000 // common, piece.rate_hz // common
    at_48_khz = piece.samples if up == down else signal.resample_poly(piece.samples, up, down, axis=0)
    at_48_khz = np.ascontiguousarray(at_48_khz[: len(at_48_khz) // 4800 * 4800], np.float32)
    meter = pyloudnorm.Meter(48_000, filter_class="DeMan")
    return [
        ours.integrated_lufs - theirs.integrated_lufs,
        measure(at_48_khz, rate_hz=48_000).integrated_lufs
        - meter.integrated_loudness(at_48_khz.astype(np.float64)),
        ours.loudness_range_lu - theirs.loudness_range_lu,
        widest(np.subtract(ours.true_peaks_dbtp, theirs.true_peaks_dbtp)),
        widest(np.subtract(ours.true_peaks_dbtp, ideal)),
    ]


def clipped_readings(piece: Piece, gain_db: float) -> Iterator[Clipped]:
    """Each channel, driven into the ceiling."""
    samples = piece.samples * np.float32(db_to_amplitude(gain_db))
    if gain_db:
        samples = np.clip(samples, -1.0, 1.0)
    ours = measure(samples, rate_hz=piece.rate_hz).true_peaks_dbtp
    theirs = ffmpeg.opinion(samples, rate_hz=piece.rate_hz).true_peaks_dbtp
    for channel, (own, other) in enumerate(zip(ours, theirs, strict=True)):
        track = samples[:, channel]
        ideal = tuple(amplitude_to_db(endless.peak(track, band_edge=edge)) for edge in BAND_EDGES)
        yield Clipped(
            piece.name, channel + 1, gain_db, own, other, ideal, high_share_pct(track, piece.rate_hz)
        )


def high_share_pct(track: np.ndarray, rate_hz: int) -> float:
    """Share of the power above 20 kHz in the 64 samples around the highest point of a fourfold grid."""
    top = int(np.abs(signal.resample_poly(track, 4, 1)).argmax()) // 4
    around = np.pad(track, 32)[top : top + 64]
    power = np.abs(np.fft.rfft(around * np.hanning(64))) ** 2
    return float(100.0 * power[np.fft.rfftfreq(64, 1.0 / rate_hz) > 20_000.0].sum() / power.sum())


def widest(differences: Sequence[float] | np.ndarray) -> float:
    """The one farthest from 0."""
    return float(max(differences, key=abs))


def line(name: str, cells: Sequence[str]) -> str:
    """A row of a table."""
    return f"| {name} | {' | '.join(cells)} |\n"


def signed(values: Sequence[float] | np.ndarray) -> list[str]:
    """Three decimals with their sign."""
    return [f"{value:+.3f}" for value in values]


def spread_of(column: np.ndarray) -> str:
    """Lowest and highest, and the median magnitude, of what all pieces gave."""
    return f"{column.min():+.3f} … {column.max():+.3f}, median {np.median(np.abs(column)):.3f}"


def clipped_line(gain_db: float, found: Sequence[Clipped]) -> str:
    """A row of the second table."""
    cells = [
        spread_of(np.array([one.own - one.ideal[column] for one in found]))
        for column in range(len(BAND_EDGES))
    ]
    cells.append(spread_of(np.array([one.own - one.other for one in found])))
    apart = [one.apart_db for one in found]
    cells.append(f"up to {max(apart):.3f}, median {np.median(apart):.3f}")
    return line(f"{gain_db:g} dB" if gain_db else "as it is", cells)


def clipped_part(clipped: Sequence[Clipped]) -> str:
    """The second half of the page."""
    worst = max(clipped, key=lambda one: one.apart_db)
    text = CLIPPED.format(
        name=worst.name,
        channel=worst.channel,
        gain_db=worst.gain_db,
        share_pct=worst.high_share_pct,
        ends=", ".join(f"{edge:g}" for edge in BAND_EDGES),
        ideal=", ".join(f"{level:+.2f}" for level in worst.ideal),
        own=worst.own,
        other=worst.other,
        edges=" | ".join(f"{edge:g}" for edge in BAND_EDGES),
        dashes="---|" * (len(BAND_EDGES) + 2),
    )
    return text + "".join(
        clipped_line(gain_db, [one for one in clipped if one.gain_db == gain_db]) for gain_db in GAINS_DB
    )


def main() -> None:
    """Measure every piece and write the page."""
    own: dict[str, list[float]] = {}
    clipped: list[Clipped] = []
    for piece in pieces():
        name = f"{piece.name}, {piece.rate_hz / 1000:g} kHz"
        own[name] = loudness_row(piece)
        for gain_db in GAINS_DB:
            clipped += clipped_readings(piece, gain_db)
        print(name, *signed(own[name]), flush=True)
    head = HEAD.format(
        count=len(own),
        ffmpeg=av.ffmpeg_version_info,
        **{name: version(name) for name in ("av", "pyloudnorm", "scipy")},
    )
    text = head + line("widest", signed([widest(column) for column in zip(*own.values(), strict=True)]))
    text += "".join(line(name, signed(row)) for name, row in own.items())
    PAGE.write_text(text + clipped_part(clipped), "utf-8")


if __name__ == "__main__":
    main()
