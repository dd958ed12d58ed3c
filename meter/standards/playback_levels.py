"""The levels that players and services bring music to, by published recommendations.

None of the primary texts was seen; each figure says what was.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaybackLevel:
    """A recommendation.

    Attributes
    ----------
    key, title, document : str
    track_lufs : float
        A tune alone is brought to.
    album_lufs : float
        The loudest tune of an album is brought to, and the others as far below it as they are.
    """

    key: str
    title: str
    document: str
    track_lufs: float
    album_lufs: float


LEVELS: Final = {
    level.key: level
    for level in (
        PlaybackLevel(
            key="aes",
            title="AES, music",
            document="AES TD1008.1.21-9 (2021)",  # SEEN-S: -16 by track, -14 for the loudest of an album
            track_lufs=-16.0,
            album_lufs=-14.0,
        ),
        PlaybackLevel(
            key="ebu",
            title="EBU, streaming of music",
            document="EBU R 128 s2 v3 (Nov 2023)",  # SEEN-S: -16 for mostly music with PLR under 15
            track_lufs=-16.0,
            album_lufs=-16.0,
        ),
        PlaybackLevel(
            key="replaygain",
            title="ReplayGain 2.0",
            document="ReplayGain 2.0 specification (proposal)",  # SEEN-S: reference of -18 LUFS
            track_lufs=-18.0,
            album_lufs=-18.0,
        ),
    )
}
"""By their keys on the command line."""
