"""A reference from a file, or from a pass of the journal."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from meter.dsp.samples import clean
from meter.errors import UsageError
from meter.files import open_audio
from meter.shelf.reference import Reference, reference_of
from meter.soundings import Soundings, Summary
from meter.units import Floats

if TYPE_CHECKING:
    from meter.journal.records import KeptPass
    from meter.journal.store import Journal

LOUDEST_S: Final = 30

Progress = Callable[[float, float | None], None]
"""Called with the seconds that were read, and those there are (None = not known)."""


def of_file(path: str | Path, *, name: str | None = None, progress: Progress | None = None) -> Reference:
    """Measure a file as a reference; it is read twice, the second time up to the end of its loudest 30 s.

    Parameters
    ----------
    path : str or Path
    name : str, optional
        That of the file without its ending unless given.

    Raises
    ------
    AudioFileError
        It cannot be read as audio.
    UsageError
        It is silent: there is nothing to compare.
    """
    path = Path(path)
    rows, summary = _measured(path, progress)
    made_name = path.stem if name is None else name
    _refuse_silence(summary, str(path))
    return reference_of(summary, rows, name=made_name, origin="file", spectrum=_spectrum(path, summary))


def of_measured(path: str | Path, summary: Summary, rows: Soundings, *, name: str) -> Reference:
    """The same of a file that has been measured already: only its loudest 30 s are read again.

    Raises
    ------
    AudioFileError
        It cannot be read any more.
    UsageError
        It is silent.
    """
    _refuse_silence(summary, str(path))
    return reference_of(summary, rows, name=name, origin="file", spectrum=_spectrum(Path(path), summary))


def of_live_pass(rows: Soundings, summary: Summary, *, name: str) -> Reference:
    """The same of what was heard live: without a spectrum, as no samples were kept.

    Raises
    ------
    UsageError
        It is silent.
    """
    _refuse_silence(summary, name)
    return reference_of(summary, rows, name=name, origin="heard live")


def of_pass(journal: Journal, kept: KeptPass, *, name: str | None = None) -> Reference:
    """The same of a pass that was heard live: without a spectrum, as no samples were kept.

    Raises
    ------
    UsageError
        It is silent.
    JournalError
        It cannot be read.
    """
    from meter.journal.replay import live_pass_of

    live_pass = live_pass_of(journal, kept)
    summary = live_pass.summary()
    _refuse_silence(summary, f"pass {kept.number}")
    made_name = f"pass {kept.number}" if name is None else name
    return reference_of(summary, live_pass.store.rows(), name=made_name, origin="heard live")


def _refuse_silence(summary: Summary, what: str) -> None:
    loudest = summary.loudest_30s_lufs
    if loudest is None or not np.isfinite(loudest):
        raise UsageError(
            f"{what} is silent or too short to have a loudness; take one with at least 0.4 s of sound"
        )


def _measured(path: Path, progress: Progress | None) -> tuple[Soundings, Summary]:
    """The soundings of a file from beginning to end, and its numbers."""
    from meter.chain import Chain
    from meter.passes import summarise

    with open_audio(path) as audio:
        chain = Chain(
            rate_hz=audio.rate_hz,
            channels=audio.channels,
            weights=audio.weights,
            over_limit_dbtp=0.0,
            beside=True,
        )
        whole_s = None if audio.frames is None else audio.frames / audio.rate_hz
        parts = []
        # Closed in this order, so that the reader has ended before the file is closed.
        with closing(chain), closing(audio.blocks()) as blocks:
            for block in blocks:
                parts.append(chain.process(block))
                if progress is not None:
                    progress(audio.frames_read / audio.rate_hz, whole_s)
            parts.append(chain.flush())
        rows = np.concatenate(parts)
        weights = audio.weights
        return rows, summarise(rows, rate_hz=audio.rate_hz, channels=audio.channels, weights=weights)


def _spectrum(path: Path, summary: Summary) -> Floats:
    """Third-octave powers of the loudest 30 s of a file."""
    from meter.dsp.third_octaves import third_octave_powers

    rate_hz = int(summary.sample_rate_hz)
    at_s = 0.0 if summary.loudest_30s_is_whole else summary.loudest_30s_at_s or 0.0
    first, count = round(at_s * rate_hz), LOUDEST_S * rate_hz
    parts = []
    with open_audio(path) as audio, closing(audio.blocks()) as blocks:
        weights = audio.weights
        before = 0
        for block in blocks:
            part = block[max(first - before, 0) : max(first + count - before, 0)]
            if len(part):
                parts.append(part.copy())
            before += len(block)
            if before >= first + count:
                break
    samples = np.concatenate(parts).astype(np.float32, copy=False)
    clean(samples)  # what is no number counts as silence, as in the chain
    return third_octave_powers(samples, rate_hz=rate_hz, weights=weights)
