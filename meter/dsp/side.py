"""True peak and low end of a stream: what can be measured beside the levels.

`Side` measures; `SideApart` has one measured in a copy of this process, on the other core.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from multiprocessing.connection import Connection
from typing import Any

import numpy as np

from meter.dsp.decimator import Decimator
from meter.dsp.grid import Grid
from meter.dsp.low_bands import LowBands
from meter.dsp.true_peak import Peaks, TruePeakMeter
from meter.dsp.window import Window
from meter.forked import FAILURES, Forked
from meter.units import Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class LowFound:
    """The low end of some blocks.

    ``sums`` and ``count`` as `LowBands.sums_of` has them, None of a mono stream; ``audio`` the signal at the
    lower rate, shape (1 or 2, n), where it is wanted.
    """

    sums: Floats | None = None
    count: int = 0
    audio: Floats | None = None


class Side:
    """True peak, low bands and the signal at about 3 kHz.

    Parameters
    ----------
    grid : Grid
        Sample rate and block lengths.
    channels : int
        1 to 6; the low end is that of the first two.
    crossover_hz : float
        Upper end of the band below the crossover.
    limit : float
        Amplitude above which the true peak is an over.
    low_end, low_audio : bool
        Measure the low bands; hand on the signal at the lower rate.
    from_silence : bool
        Silence comes before the first frame; see `TruePeakMeter`.
    """

    def __init__(
        self,
        grid: Grid,
        *,
        channels: int,
        crossover_hz: float,
        limit: float,
        low_end: bool,
        low_audio: bool,
        from_silence: bool,
    ) -> None:
        self.peaks = TruePeakMeter(grid, channels=channels, limit=limit, from_silence=from_silence)
        self._bands = LowBands(grid, crossover_hz=crossover_hz) if low_end and channels > 1 else None
        # A mono file has no low bands, which compare sides, but it has a low end.
        self._decimator = Decimator(grid, channels=1) if low_audio and self._bands is None else None
        self._keeps_audio = low_audio
        self.past_frames = max(
            self.peaks.past_frames,
            self._bands.past_frames if self._bands else 0,
            self._decimator.past_frames if self._decimator else 0,
        )

    def low_of(self, window: Window, *, blocks: int) -> LowFound:
        """The low end of the newest frames."""
        if self._bands:
            audio = self._bands.decimated(window, blocks=blocks)
            sums, count = self._bands.sums_of(audio, blocks=blocks)
            return LowFound(sums=sums, count=count, audio=audio if self._keeps_audio else None)
        if self._decimator:
            return LowFound(audio=self._decimator.process(window, blocks=blocks))
        return LowFound()

    def count_in(self, frames: int) -> int:
        """Values of the low bands in a whole block."""
        return self._bands.count_in(frames) if self._bands else 0

    def set_limit(self, limit: float) -> None:
        """Count overs above another amplitude from now on."""
        self.peaks.limit = limit

    def settle(self, floor: float) -> None:
        """After a block of digital silence."""
        if self._bands:
            self._bands.settle(floor)

    def is_at_rest(self) -> bool:
        """Whether silence would give nothing but zeros, once the window is silent."""
        return self._bands is None or self._bands.is_at_rest()

    def reset(self, *, from_silence: bool) -> None:
        """As a new object."""
        self.peaks.reset(from_silence=from_silence)
        if self._bands:
            self._bands.reset()
        if self._decimator:
            self._decimator.reset()


class SideApart:
    """The same in a process of its own, bit for bit. Close it.

    Parameters
    ----------
    side : Side
        As it is now; from here on use this object in its place.
    window : Window
        In shared memory. What was pushed stays until it was finished: it has a slot for each push between.

    Raises
    ------
    ProcessEndedError, RuntimeError
        From any call: the process has ended before its time, or failed.
    """

    def __init__(self, side: Side, window: Window) -> None:
        self._window = window
        self._process = Forked(_serve, side, window, name="measures true peak and low bands")

    def begin(self, *, blocks: int) -> None:
        """Start to measure what was pushed last."""
        self._send("measure", blocks=blocks)

    def is_ready(self) -> bool:
        """Whether `finish` would not wait."""
        return self._process.has_answered()

    def finish(self) -> tuple[Peaks, LowFound]:
        """Wait for what came of what was begun first."""
        peaks, low = self._process.receive()
        return peaks, low if low.audio is None else replace(low, audio=low.audio.astype(np.float64))

    def last_peaks(self, *, goes_on: bool) -> Peaks:
        """See `TruePeakMeter.finish`."""
        peaks: Peaks = self._ask("last_peaks", goes_on=goes_on)
        return peaks

    def set_limit(self, limit: float) -> None:
        """See `Side.set_limit`."""
        self._ask("set_limit", limit=limit)

    def settle(self, floor: float) -> None:
        """See `Side.settle`."""
        self._ask("settle", floor=floor)

    def is_at_rest(self) -> bool:
        """See `Side.is_at_rest`."""
        return bool(self._ask("is_at_rest"))

    def reset(self, *, from_silence: bool) -> None:
        """See `Side.reset`."""
        self._ask("reset", from_silence=from_silence)

    def close(self) -> None:
        """End the process."""
        self._process.close()

    def _ask(self, what: str, **how: Any) -> Any:
        self._send(what, **how)
        return self._process.receive()

    def _send(self, what: str, **how: Any) -> None:
        self._process.send((what, self._window.slot, self._window.frames, how))


def _serve(messages: Connection, answers: Connection, side: Side, window: Window) -> None:
    """What the process does."""
    while True:
        what, slot, frames, how = messages.recv()
        window.follow(slot, frames)
        try:
            answer = _answer(side, window, what, how)
        except FAILURES as error:
            answer = error
        answers.send(answer)


def _narrow(audio: Floats | None) -> Any:
    """In half the room on its way, where nothing is lost: what came out of a product in float32."""
    if audio is None:
        return None
    narrow = audio.astype(np.float32)
    return narrow if np.array_equal(narrow, audio) else audio


def _answer(side: Side, window: Window, what: str, how: dict[str, Any]) -> Any:
    if what == "measure":
        low = side.low_of(window, **how)
        return side.peaks.process(window, **how), replace(low, audio=_narrow(low.audio))
    if what == "last_peaks":
        return side.peaks.finish(window, **how)
    return getattr(side, what)(**how)
