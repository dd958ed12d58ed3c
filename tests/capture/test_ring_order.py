"""The ring's writer and readers in any order, in the middle of each other, and at once.

`Model` says what a reader must see, from the definition alone: a number for every frame ever
captured, lost ones included. It knows nothing of places, logs or rounds.
"""

import sys
import threading
import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meter.capture import ring as ring_module
from meter.capture.ring import Ring
from tests.support.numbered import numbered

pytestmark = pytest.mark.anytime

RATE_HZ = 1000

# --- against a model, in any order -----------------------------------------------------------


class Model:
    """What was captured: a number for every frame, lost ones included, and which reached the ring."""

    def __init__(self, ring):
        self.ring = ring
        self.next_number = 0
        self.heard = []

    def write(self, count):
        block = numbered(self.next_number, count, self.ring.channels)
        self.heard += range(self.next_number, self.next_number + count)
        self.next_number += count
        self.ring.write(block)

    def gap(self, count):
        self.next_number += count
        self.ring.note_gap(count)

    def found_late(self, before, lost, after):
        """Frames are held back, then there is a gap before the last `after` of them."""
        self.ring.hold()
        self.write(before)
        self.next_number += lost
        self.write(after)
        self.ring.note_gap(lost, frames_ago=after)
        self.ring.release()


class Watched:
    """A reader that checks what it is given."""

    def __init__(self, model, *, from_now):
        self.model, self.ring = model, model.ring
        kept = len(model.heard) - min(len(model.heard), self.ring.capacity_frames)
        # Who reads from the oldest frame is told of a gap right before it too.
        self.next_number = model.heard[kept - 1] + 1 if kept else 0
        if from_now:
            self.next_number = model.next_number
        self.reader = self.ring.reader(from_now)

    def read(self, most):
        chunk = self.reader.read(most)
        assert len(chunk.frames) <= most
        # No hole in the numbers: the loss is exact, no chunk spans a gap, no frame is of another round.
        number = self.next_number + chunk.lost_before
        np.testing.assert_array_equal(chunk.frames, numbered(number, len(chunk.frames), self.ring.channels))
        self.next_number = number + len(chunk.frames)

    def read_alone(self, most):
        """The same while nobody writes: then nothing is lost that is still there."""
        still_there = set(self.model.heard[-self.ring.capacity_frames :])
        was_overtaken = self.model.heard and self.next_number < min(still_there)
        before = self.next_number
        lost_before = self.reader.lost_frames
        self.read(most)
        lost = self.reader.lost_frames - lost_before
        assert was_overtaken or not still_there & set(range(before, before + lost))

    def finish(self):
        while self.reader.behind_frames:
            self.read_alone(13)
        self.read_alone(1)
        assert self.next_number == self.model.next_number
        assert self.reader.overtaken_frames <= self.reader.lost_frames


COUNTS = st.one_of(st.integers(0, 6), st.integers(0, 90))
LOST = st.integers(1, 20)
WRITES = st.one_of(
    st.tuples(st.just("write"), COUNTS),
    st.tuples(st.just("write"), COUNTS),
    st.tuples(st.just("gap"), LOST),
    st.tuples(st.just("found_late"), COUNTS, LOST, COUNTS),
)
READS = st.tuples(st.just("read"), st.integers(0, 3), st.integers(0, 60))
JOINS = st.tuples(st.just("join"), st.booleans())
SIZES = st.sampled_from([1, 7, 32, 50])


def perform(step, model, readers, *, is_alone=True):
    kind, *how = step
    if kind == "join":
        readers.append(Watched(model, from_now=how[0]))
    elif kind == "read":
        reader = readers[how[0] % len(readers)]
        (reader.read_alone if is_alone else reader.read)(how[1])
    else:
        getattr(model, kind)(*how)


@given(steps=st.lists(st.one_of(WRITES, READS, JOINS), max_size=60), channels=st.integers(1, 3), size=SIZES)
@settings(max_examples=300)
def test_in_any_order_no_frame_is_wrong_and_every_loss_is_counted(steps, channels, size):
    model = Model(Ring(RATE_HZ, channels, size / RATE_HZ))
    readers = [Watched(model, from_now=True), Watched(model, from_now=False)]
    for step in steps:
        perform(step, model, readers)
    for reader in readers:
        reader.finish()


def run_interrupted(action, interrupt, at_line):
    """Run `action`; `interrupt` comes before the `at_line`-th line in the ring's module."""
    lines = 0

    def trace(frame, event, _):
        nonlocal lines
        if frame.f_code.co_filename != ring_module.__file__:
            return None
        if event == "line":
            lines += 1
            if lines == at_line:
                interrupt()
        return trace

    before = sys.gettrace()
    sys.settrace(trace)
    try:
        action()
    finally:
        sys.settrace(before)


@given(
    steps=st.lists(
        st.tuples(WRITES, st.lists(READS, max_size=3), READS, st.integers(1, 70), st.booleans()), max_size=25
    ),
    size=SIZES,
)
@settings(max_examples=400)
def test_in_the_middle_of_each_other_no_frame_is_wrong_and_every_loss_is_counted(steps, size):
    model = Model(Ring(RATE_HZ, 2, size / RATE_HZ))
    readers = [Watched(model, from_now=True), Watched(model, from_now=True), Watched(model, from_now=False)]
    for write, reads, read, at_line, is_writer_cut in steps:

        def writer(write=write):
            perform(write, model, readers)

        def reader(read=read):
            perform(read, model, readers, is_alone=False)

        run_interrupted(*((writer, reader) if is_writer_cut else (reader, writer)), at_line)
        for later in reads:
            perform(later, model, readers, is_alone=False)
    for reader in readers:
        reader.finish()


# --- two real threads ------------------------------------------------------------------------

WRAP = 1 << 20
"""float32 holds whole numbers to 2^24; so frames are numbered in two channels."""


def write_numbered(ring, is_enough):
    base = np.zeros((WRAP, 2), np.float32)
    base[:, 0] = np.arange(WRAP)
    sizes = np.random.default_rng(20).integers(20_000, 400_000, 1000).tolist()
    number = count = 0
    while not is_enough():
        if number % WRAP == 0:
            base[:, 1] = number // WRAP
        block = base[number % WRAP :][: sizes[count % 1000]]
        ring.write(block)
        number += len(block)
        count += 1
        if count % 16 == 0:
            ring.note_gap(3)
        time.sleep(0)


class Checker(threading.Thread):
    """Reads until the end, and counts what is wrong."""

    def __init__(self, reader, is_done, most, pause_s):
        super().__init__()
        self.reader, self.is_done, self.most, self.pause_s = reader, is_done, most, pause_s
        self.heard = self.wrong = self.lost = 0
        self.expected = np.arange(WRAP + most, dtype=np.float32) % WRAP

    def run(self):
        place = 0  # of the next frame, gaps not counted: they carry no numbers here
        while True:
            was_done = self.is_done.is_set()
            overtaken = self.reader.overtaken_frames
            chunk = self.reader.read(self.most)
            self.lost += chunk.lost_before
            place += self.reader.overtaken_frames - overtaken
            self.check(chunk.frames, place)
            place += len(chunk.frames)
            self.heard += len(chunk.frames)
            if not len(chunk.frames) and not chunk.lost_before and not self.reader.behind_frames and was_done:
                return
            time.sleep(self.pause_s)

    def check(self, frames, place):
        start = place % WRAP
        low = self.expected[start : start + len(frames)]
        # A read may be longer than WRAP, so it can cross two wraps.
        high = np.float32(place // WRAP) + (start + np.arange(len(frames))) // WRAP
        self.wrong += int(np.count_nonzero((frames[:, 0] != low) | (frames[:, 1] != high)))


@pytest.mark.parametrize("place", [0, 1, WRAP - 100_000, WRAP - 1, 5 * WRAP - 1])
def test_the_checker_takes_right_frames_for_right_and_one_wrong_for_wrong(place):
    """Over up to two wraps: it once took right frames for wrong where a read crossed both."""
    checker = Checker(None, None, 1_440_000, 0.0)
    numbers = np.arange(place, place + 1_440_000)
    frames = np.stack([numbers % WRAP, numbers // WRAP], axis=1).astype(np.float32)
    checker.check(frames, place)
    assert checker.wrong == 0
    frames[1_300_000] = frames[10]
    checker.check(frames, place)
    assert checker.wrong == 1


def test_threads_at_once_read_no_wrong_frame_out_of_forty_million():
    # Copies that take milliseconds: the writer runs into them, and readers are overtaken in the middle.
    ring = Ring(48_000, 2, 30.0)
    is_done = threading.Event()
    checkers = [
        Checker(ring.reader(), is_done, 200_000, 0.0),
        Checker(ring.reader(), is_done, ring.capacity_frames, 0.0),
        Checker(ring.reader(), is_done, ring.capacity_frames // 2, 0.002),
    ]
    interval_s = sys.getswitchinterval()
    sys.setswitchinterval(0.0001)
    try:
        for checker in checkers:
            checker.start()
        write_numbered(ring, lambda: sum(checker.heard for checker in checkers) >= 40_000_000)
    finally:
        is_done.set()
        for checker in checkers:
            checker.join()
        sys.setswitchinterval(interval_s)
    for checker in checkers:
        assert checker.wrong == 0
        assert checker.heard > 0
        assert checker.heard + checker.reader.overtaken_frames == ring.written
        assert checker.lost == checker.reader.lost_frames
        assert checker.lost == checker.reader.overtaken_frames + ring.gap_frames
