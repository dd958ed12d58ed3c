"""A kick and a sub, from two files or from two pairs of channels of one, as samples."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from meter.errors import UsageError
from meter.files import open_audio
from meter.units import Samples

LONGEST_S: Final = 20 * 60.0
"""Both are held in memory."""

Step = Callable[[float], None]
"""Told the share that is done, 0 to 1; what it raises breaks the work off."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stem:
    """Where one is: a file, and a pair of its channels, counted from 1; all of them where none is named."""

    name: str
    pair: tuple[int, int] | None = None


def read_both(kick: Stem, sub: Stem, *, step: Step = lambda share: None) -> tuple[Samples, Samples, int]:
    """Read the two.

    Returns
    -------
    kick, sub : ndarray of float32, shape (frames, 1)
        The middle of each.
    rate_hz : int

    Raises
    ------
    UsageError
        Their rates differ, one is too long, or there are no such channels.
    AudioFileError
        One cannot be read.
    """
    kick_samples, rate_hz = _read(kick, lambda share: step(0.5 * share))
    sub_samples, other_hz = _read(sub, lambda share: step(0.5 + 0.5 * share))
    if rate_hz != other_hz:
        raise UsageError(
            f"{kick.name} has {rate_hz} Hz and {sub.name} {other_hz} Hz, but one rate was expected; "
            "render both at the same rate"
        )
    return kick_samples, sub_samples, rate_hz


def _read(stem: Stem, step: Step) -> tuple[Samples, int]:
    with open_audio(Path(stem.name), pair=stem.pair) as audio, closing(audio.blocks()) as blocks:
        parts, frames = [np.zeros((0, 1), np.float32)], 0
        for part in blocks:
            middle = np.nan_to_num(part[:, :2].mean(axis=1, keepdims=True), posinf=0.0, neginf=0.0)
            parts.append(middle.astype(np.float32))
            frames += len(part)
            if frames > LONGEST_S * audio.rate_hz:
                raise UsageError(
                    f"{stem.name} is longer than {LONGEST_S / 60.0:.0f} minutes, but a stem of a tune was "
                    "expected; cut the passage out of both"
                )
            step(min(frames / (audio.frames or frames), 1.0))
        return np.concatenate(parts), audio.rate_hz
