"""The ring between the audio callback and those who listen: 15 s of frames, overwritten for ever.

One writer, any number of readers, no lock. The writer never looks at the readers. It announces
what it is about to overwrite (`_begun`), copies, then publishes (`written`). A reader copies what
is published, then looks at the announcement: when it reaches into what was copied, the copy is
thrown away and counted as the reader's own loss. So no reader ever holds frames back, or gets
frames of two rounds in one.

The order of these steps is all that keeps this right. It holds because the interpreter's lock is
taken between them; a reader's copy may run at the same time as the writer's. The writer's own copy
keeps the lock: numpy would give it back for more than 500 elements, and wait to have it again for as
long as another thread holds it (50 ms, say) at every block of 25 ms.

Gaps are kept beside the frames in a log, each with the frame before which it lies and the sum of
all gaps so far: whoever misses entries of the log still counts the loss exactly.
"""

from __future__ import annotations

import itertools
from typing import Final, NamedTuple

import numpy as np

from meter.capture.records import Chunk, Frames
from meter.errors import UsageError

RING_S: Final = 15.0
"""Longer than what sound servers queue for a program that stalls (11 s)."""

GAP_SLOTS: Final = 4096
"""Gaps that are kept. A reader that is further behind than these skips to the kept ones."""


class LoggedGap(NamedTuple):
    """A gap in a ring's log."""

    number: int
    """How many gaps were noted before it."""
    place: int
    """Frames written before it."""
    before_frames: int
    """Sum of all gaps before it."""
    frames: int


_NUMBERS: Final = itertools.count(1)


class Ring:
    """Frames of one rate and one number of channels.

    Parameters
    ----------
    rate_hz : int, > 0
    channels : int, > 0
    seconds : float
        How much is kept.

    Attributes
    ----------
    number : int
        Another for every ring of this process.
    written : int
        Frames published since the start, without gaps. 64 bits would do for a million years.
    gap_frames : int
        Sum of all gaps noted so far.
    refused_frames : int
        Frames that came in another shape than (n, channels); they count as a gap.

    Raises
    ------
    UsageError
        A size that cannot be meant.
    """

    def __init__(self, rate_hz: int, channels: int, seconds: float = RING_S) -> None:
        self.capacity_frames = round(rate_hz * seconds) if rate_hz > 0 else 0
        if self.capacity_frames < 1 or channels < 1:
            raise UsageError(
                f"a ring of {seconds:g} s at {rate_hz} Hz with {channels} channels holds nothing; "
                "every one of these must be above 0"
            )
        self.number = next(_NUMBERS)
        self.rate_hz, self.channels = rate_hz, channels
        self._frames: Frames = np.empty((self.capacity_frames, channels), np.float32)
        self._frames.fill(0.0)  # touched now, so that the callback meets no page for the first time
        self._bytes = self._frames.data.cast("B")
        self._frame_bytes = 4 * channels
        self._begun = 0  # the writer may be at work up to here
        self._complete = 0  # the writer is done up to here
        self._is_held = False
        self.written = 0
        self.refused_frames = 0
        self._gap_log = [LoggedGap(-1, 0, 0, 0)] * GAP_SLOTS
        self._gaps = 0
        self._gap_place = 0
        self.gap_frames = 0

    def write(self, block: Frames) -> None:
        """Audio callback only. Never waits, allocates no array, never fails.

        Parameters
        ----------
        block : array of float32, shape (n, channels)
            Any n; of more than the ring holds the last part stays. A block of another shape is
            counted as a gap of its length.
        """
        if block.ndim != 2 or block.shape[1] != self.channels:
            self.refused_frames += len(block) if block.ndim else 0
            self.note_gap(len(block) if block.ndim else 0)
            return
        count = len(block)
        if count == 0:
            return
        end = self._complete + count
        self._begun = end
        kept = min(count, self.capacity_frames)
        at = (end - kept) % self.capacity_frames
        first = min(kept, self.capacity_frames - at)
        if block.flags.c_contiguous and block.dtype == np.float32:
            size, source = self._frame_bytes, block.data.cast("B")
            skipped = (count - kept) * size
            self._bytes[at * size : (at + first) * size] = source[skipped : skipped + first * size]
            self._bytes[: (kept - first) * size] = source[skipped + first * size :]
        else:
            self._frames[at : at + first] = block[count - kept : count - kept + first]
            self._frames[: kept - first] = block[count - kept + first :]
        self._complete = end
        if not self._is_held:
            self.written = end

    def note_gap(self, frames: int, *, frames_ago: int = 0) -> None:
        """Writer only. Frames were lost here, or before the last `frames_ago` frames.

        A place that is published already is too late to be marked: the gap moves to the first
        frame that is not. Gaps of 0 frames or less are none.
        """
        if frames <= 0:
            return
        self._gap_place = max(self._complete - max(frames_ago, 0), self.written, self._gap_place)
        gap = LoggedGap(self._gaps, self._gap_place, self.gap_frames, frames)
        self._gap_log[gap.number % GAP_SLOTS] = gap
        self.gap_frames += frames
        self._gaps += 1

    def hold(self) -> None:
        """Writer only. Publish nothing for now: whether a gap lies here is not yet decided."""
        self._is_held = True

    def release(self) -> None:
        """Writer only. Publish what was held, and what comes."""
        self._is_held = False
        self.written = self._complete

    def gap(self, number: int) -> LoggedGap | None:
        """The gap of that number, None when not noted yet; a later one when it is no longer kept."""
        while number < self._gaps:
            gap = self._gap_log[number % GAP_SLOTS]
            if gap.number == number:
                return gap
            number = max(self._gaps - GAP_SLOTS // 2, number + 1)
        return None

    def holds(self, place: int) -> bool:
        """Whether the frame at that place, and all after it, are still untouched."""
        return self._begun - self.capacity_frames <= place

    def oldest(self) -> int:
        """Place of the oldest frame that is published and untouched."""
        return min(max(self._begun - self.capacity_frames, 0), self.written)

    def copy(self, start: int, end: int) -> Frames:
        """The frames of places `start` to `end`; true only if the ring still `holds` them afterwards."""
        frames = np.empty((end - start, self.channels), np.float32)
        at = start % self.capacity_frames
        first = min(len(frames), self.capacity_frames - at)
        frames[:first] = self._frames[at : at + first]
        if first < len(frames):
            frames[first:] = self._frames[: len(frames) - first]
        return frames

    def reader(self, from_now: bool = True) -> Reader:
        """A reader of its own count; any thread.

        Parameters
        ----------
        from_now : bool
            Begin with what comes next; else with the oldest frame that is kept.
        """
        return Reader(self, from_now=from_now)


class Reader:
    """One reader of a ring, for one thread. Made by `Ring.reader`.

    Attributes
    ----------
    lost_frames : int
        All that was lost for this reader: gaps of the source, and frames it came too late for.
    overtaken_frames : int
        The part that it came too late for.
    """

    def __init__(self, ring: Ring, *, from_now: bool) -> None:
        self.ring = ring
        self.lost_frames = 0
        self.overtaken_frames = 0
        self._place = ring.written if from_now else ring.oldest()  # of the next frame to read
        self._gap = 0  # count of the next gap to tell
        self._gap_frames = 0  # sum of all gaps before that one
        self._pass_gaps_before_start(from_now=from_now)

    def _pass_gaps_before_start(self, *, from_now: bool) -> None:
        while (gap := self.ring.gap(self._gap)) is not None:
            if gap.place > self._place or (gap.place == self._place and not from_now):
                self._gap, self._gap_frames = gap.number, gap.before_frames
                return
            self._pass(gap)

    def _pass(self, gap: LoggedGap) -> None:
        self._gap = gap.number + 1
        self._gap_frames = gap.before_frames + gap.frames

    @property
    def behind_frames(self) -> int:
        """Frames that were written and are not yet read."""
        return max(self.ring.written - self._place, 0)

    def read(self, max_frames: int) -> Chunk:
        """What comes next, up to a gap; never waits.

        Parameters
        ----------
        max_frames : int
            The most to take.

        Returns
        -------
        Chunk
            Without frames when there are none, or when the writer overtook this very call;
            with `lost_before` when frames were lost since the last chunk.
        """
        written = self.ring.written  # before the log: every gap before this place is in it then
        lost = 0
        if not self.ring.holds(self._place):
            # To the middle, for a little peace; the oldest frames are about to go too.
            middle = written - self.ring.capacity_frames // 2
            lost += self._skip_to(min(max(self.ring.oldest(), middle), written))
        end = min(written, self._place + max(max_frames, 0))
        while (gap := self.ring.gap(self._gap)) is not None:
            if gap.number > self._gap:
                # Gaps that are no longer in the log lie somewhere before this one.
                lost += self._skip_to(gap.place)
            if gap.place > self._place:
                end = min(end, gap.place)
                break
            lost += gap.before_frames + gap.frames - self._gap_frames
            self._pass(gap)
        self.lost_frames += lost
        frames = self.ring.copy(self._place, max(end, self._place))
        if not self.ring.holds(self._place):
            frames = frames[:0]  # overtaken while copying: the next call skips and counts
        self._place += len(frames)
        return Chunk(frames, lost)

    def _skip_to(self, place: int) -> int:
        skipped = max(place - self._place, 0)
        self._place += skipped
        self.overtaken_frames += skipped
        return skipped
