"""Real pieces, a minute of each, decoded once."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pytest
import soundfile

from meter.files import open_audio
from meter.passes import measure
from meter.soundings import Summary
from meter.units import Samples
from tests.support import ffmpeg

MINUTE_S = 60


@dataclass(frozen=True, slots=True)
class Piece:
    """The first minute of a piece, stereo, as libsndfile decodes it."""

    name: str
    samples: Samples
    rate_hz: int


@pytest.fixture(scope="session")
def pieces(music: tuple[Path, ...]) -> tuple[Piece, ...]:
    """Every second stereo piece of a minute or more, from at least two packages."""
    long = []
    for path in music:
        facts = soundfile.info(str(path))
        if facts.duration >= MINUTE_S and facts.channels == 2:
            long.append(path)
    chosen = tuple(_first_minute(path) for path in long[::2])
    assert len(chosen) >= 10, "fewer than ten pieces of a minute: tests/packages.txt names too little music"
    assert {piece.rate_hz for piece in chosen} >= {44_100, 48_000}
    return chosen


@dataclass(frozen=True, slots=True)
class Read:
    """A piece as FFmpeg and as Leadline read it."""

    piece: Piece
    theirs: ffmpeg.Opinion
    ours: Summary


@pytest.fixture(scope="session")
def readings(pieces: tuple[Piece, ...]) -> tuple[Read, ...]:
    """Both readings of every piece, taken once."""
    return tuple(
        Read(
            piece,
            ffmpeg.opinion(piece.samples, rate_hz=piece.rate_hz),
            measure(piece.samples, rate_hz=piece.rate_hz),
        )
        for piece in pieces
    )


def _first_minute(path: Path) -> Piece:
    with open_audio(path) as audio:
        samples = next(iter(audio.blocks(seconds=MINUTE_S))).copy()
        return Piece(path.name, samples, audio.rate_hz)
