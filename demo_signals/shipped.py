"""The excerpts that are shipped as files: which bars, how they are written, where they lie.

16-bit FLAC, rounded to the nearest step without dither, so that code and file can be
compared sample by sample.
"""

from __future__ import annotations

import atexit
from contextlib import ExitStack
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import as_file, files
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt

from demo_signals.mixdown import render
from demo_signals.pattern import RATE_HZ, bar_to_s

FADE_S: Final = 0.005
"""Both ends of an excerpt are faded this long: a cut through a loud wave is a click, and an over."""

_FULL_SCALE: Final = 32768


@dataclass(frozen=True, slots=True, kw_only=True)
class Excerpt:
    """Bars `start_bar` to `end_bar`, both included, of the tune, in a file of their own.

    The file ends at the last whole 100 ms, so that no reader meets a half-filled block.
    """

    file_name: str
    start_bar: int
    end_bar: int
    what: str


EXCERPTS: Final = (
    Excerpt(file_name="clean-drop.flac", start_bar=29, end_bar=34, what="the first drop, nothing wrong"),
    Excerpt(file_name="wide-sub.flac", start_bar=41, end_bar=45, what="the sub is lost in mono"),
    Excerpt(file_name="overs.flac", start_bar=100, end_bar=104, what="five true-peak overs"),
)


@lru_cache(maxsize=1)
def excerpts() -> list[Path]:
    """The shipped files, in the order of `EXCERPTS`; unpacked for the run when installed in an archive."""
    kept = ExitStack()
    atexit.register(kept.close)
    folder = files("demo_signals") / "rendered"
    return [kept.enter_context(as_file(folder / excerpt.file_name)) for excerpt in EXCERPTS]


def excerpt_samples(excerpt: Excerpt) -> npt.NDArray[np.int16]:
    """What the file of an excerpt holds, from code: shape (frames, 2), 16 bit."""
    start, stop = (round(bar_to_s(bar) * RATE_HZ) for bar in (excerpt.start_bar, excerpt.end_bar + 1))
    stop -= (stop - start) % (RATE_HZ // 10)
    cut = render()[start:stop].astype(np.float64)
    fade = round(FADE_S * RATE_HZ)
    ramp = (0.5 - 0.5 * np.cos(np.pi * np.arange(fade) / fade))[:, None]
    cut[:fade] *= ramp
    cut[-fade:] *= ramp[::-1]
    return np.clip(np.rint(cut * _FULL_SCALE), -_FULL_SCALE, _FULL_SCALE - 1).astype(np.int16)


def write_excerpts(folder: Path) -> list[Path]:
    """Write all excerpts into a folder that exists; the paths written."""
    import soundfile

    written = [folder / excerpt.file_name for excerpt in EXCERPTS]
    for path, excerpt in zip(written, EXCERPTS, strict=True):
        soundfile.write(path, excerpt_samples(excerpt), RATE_HZ, "PCM_16")
    return written


def write_tune(folder: Path) -> Path:
    """Write the whole tune as a float32 WAV into a folder that exists; the path written."""
    import soundfile

    path = folder / "demo-tune.wav"
    soundfile.write(path, render(), RATE_HZ, "FLOAT")
    return path
