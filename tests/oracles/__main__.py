"""Writes docs/oracles.md: what other libraries read of real music, less what Leadline reads."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import av
import numpy as np
import soundfile

from meter.passes import measure
from meter.units import amplitude_to_db, db_to_amplitude
from tests.support import debian, endless, ffmpeg

PAGE = Path(__file__).resolve().parents[2] / "docs" / "oracles.md"
HEAD = """# What others read of the same music

The first minute of {count} pieces of a minute or more from the Debian packages of
`tests/packages.txt`, decoded by libsndfile; the same samples go to both. FFmpeg {version} through
PyAV, filter `ebur128`; differences are Leadline's reading less FFmpeg's. The last column drives
half a minute 12 dB into a hard ceiling and compares with a 32-fold interpolation
(`tests/support/endless.py`): there FFmpeg itself is up to 0.3 dB low. So it is where a decoder
brings peaks over full scale. The project asks for 0.02 LU, 0.1 LU, and 0.05 dB twice.
`tests/oracles` holds a part of these at every run; this page is written by `python -m
tests.oracles`.

| piece | I, LU | LRA, LU | true peak, dB | clipped, against 32-fold, dB |
|---|---|---|---|---|
"""


def main() -> None:
    """Measure every piece and write the page."""
    lines = []
    for path in debian.audio_files(debian.music_packages()):
        facts = soundfile.info(str(path))
        if facts.duration < 60.0 or facts.channels != 2:
            continue
        samples, rate_hz = soundfile.read(str(path), dtype="float32", frames=60 * facts.samplerate)
        lines.append(_row(path.stem, samples, rate_hz))
        print(lines[-1])
    version = av.ffmpeg_version_info
    PAGE.write_text(
        HEAD.format(count=len(lines), version=version) + "".join(f"{row}\n" for row in lines), "utf-8"
    )


def _row(name: str, samples: np.ndarray, rate_hz: int) -> str:
    theirs, ours = ffmpeg.opinion(samples, rate_hz=rate_hz), measure(samples, rate_hz=rate_hz)
    peaks = zip(ours.true_peaks_dbtp, theirs.true_peaks_dbtp, strict=True)
    clipped = np.clip(samples[: 30 * rate_hz] * np.float32(db_to_amplitude(12.0)), -1.0, 1.0)
    read = measure(clipped, rate_hz=rate_hz).true_peaks_dbtp
    ideal = [amplitude_to_db(endless.peak(channel)) for channel in clipped.T]
    return (
        f"| {name} | {ours.integrated_lufs - theirs.integrated_lufs:+.3f} "
        f"| {ours.loudness_range_lu - theirs.loudness_range_lu:+.3f} "
        f"| {_widest(own - other for own, other in peaks):+.3f} "
        f"| {_widest(own - other for own, other in zip(read, ideal, strict=True)):+.3f} |"
    )


def _widest(differences: Iterable[float]) -> float:
    return max(differences, key=abs)


if __name__ == "__main__":
    main()
