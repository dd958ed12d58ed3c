"""Sound on the system's output: only what the user has asked for, and was asked about, comes here."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import numpy as np
import numpy.typing as npt

from meter.errors import SourceError

Fill = Callable[[int, int], npt.NDArray[np.float64]]
"""From the frame where it goes on, and how many, to samples of one channel, which both sides get."""


class Playing:
    """Plays for the length of a `with`.

    Parameters
    ----------
    fill : callable
        See `Fill`.
    rate_hz : int
    fade_s : float
        `on_end` is called with the frame where the end begins; it goes on for so long.
    on_end : callable

    Raises
    ------
    SourceError
        Nothing can be played.
    """

    def __init__(self, fill: Fill, *, rate_hz: int, fade_s: float, on_end: Callable[[int], None]) -> None:
        self._fill_from, self._rate_hz, self._fade_s, self._on_end = fill, rate_hz, fade_s, on_end
        self._at = 0

    def __enter__(self) -> Playing:
        try:
            import sounddevice

            self._stream = sounddevice.OutputStream(
                samplerate=self._rate_hz, channels=2, dtype="float32", callback=self._fill
            )
            self._stream.start()
        except Exception as error:
            raise SourceError(f"nothing can be played here ({error}); play it another way") from error
        return self

    def _fill(self, out: npt.NDArray[np.float32], frames: int, *_: Any) -> None:
        out[:] = self._fill_from(self._at, frames)[:, None]
        self._at += frames

    def __exit__(self, *_: object) -> None:
        self._on_end(self._at)
        time.sleep(self._fade_s + 0.2)
        self._stream.stop()
        self._stream.close()
