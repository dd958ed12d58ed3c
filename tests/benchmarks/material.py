"""Files to measure: the demo tune, repeated to length, in the forms that people have."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import soundfile

import demo_signals

FORMS = {
    "48 kHz float WAV": ("a.wav", 48_000, "FLOAT"),
    "44.1 kHz 16 bit WAV": ("b.wav", 44_100, "PCM_16"),
    "48 kHz 24 bit FLAC": ("c.flac", 48_000, "PCM_24"),
}
"""Name for people: file name, rate, subtype. The tune is written as it is at either rate."""


def write(folder: Path, form: str, *, seconds: float) -> Path:
    """A file of that form and length."""
    name, rate_hz, subtype = FORMS[form]
    path = folder / name
    write_looped(path, rate_hz=rate_hz, subtype=subtype, seconds=seconds)
    return path


def write_looped(path: Path, *, rate_hz: int, subtype: str, seconds: float) -> None:
    """The tune, again and again, in pieces of bounded size."""
    tune = np.clip(demo_signals.render(), -1.0, 1.0)
    left = round(seconds * rate_hz)
    with soundfile.SoundFile(str(path), "w", rate_hz, 2, subtype) as file:
        while left > 0:
            part = tune[: min(left, len(tune))]
            file.write(part)
            left -= len(part)
