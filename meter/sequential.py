"""The audio library, held to reading a file straight through.

Its `read` seeks after every block to the place where the file stands anyway. In MP3 and in
Ogg that starts the decoder anew, which loses the overlap with the frame before: read in
blocks of a second, an MP3 of a steady sine comes out up to 0.5 dB low and full of clicks.
"""

from __future__ import annotations

from typing import Any

import soundfile

_SoundFile: Any = soundfile.SoundFile


class SequentialSoundFile(_SoundFile):  # type: ignore[misc]
    """A sound file that is only read onwards."""

    def seekable(self) -> bool:
        """Never, so that nothing seeks between blocks."""
        return False
