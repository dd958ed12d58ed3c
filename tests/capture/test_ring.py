"""The ring: frames are numbered, so that a wrong one is seen; what a reader lost is known exactly."""

import sys
import threading
import time
import tracemalloc

import numpy as np
import pytest

from meter.capture import ring as ring_module
from meter.capture.ring import Ring
from meter.errors import UsageError
from tests.support.numbered import numbered

RATE_HZ = 1000


def make(seconds=0.1, channels=2):
    return Ring(RATE_HZ, channels, seconds)


# --- one after the other ---------------------------------------------------------------------


def test_a_reader_gets_what_was_written_after_it_came():
    ring = make()
    ring.write(numbered(0, 10))
    late, early = ring.reader(), ring.reader(from_now=False)
    ring.write(numbered(10, 5))
    np.testing.assert_array_equal(late.read(100).frames, numbered(10, 5))
    np.testing.assert_array_equal(early.read(100).frames, numbered(0, 15))
    assert ring.written == 15
    assert late.behind_frames == early.behind_frames == 0


def test_a_reader_takes_no_more_than_it_asks_for_and_nothing_when_there_is_nothing():
    ring = make()
    reader = ring.reader()
    assert reader.read(100).frames.shape == (0, 2)
    ring.write(numbered(0, 10))
    assert reader.read(0).frames.shape == (0, 2)
    assert reader.read(-1).frames.shape == (0, 2)
    np.testing.assert_array_equal(reader.read(4).frames, numbered(0, 4))
    assert reader.behind_frames == 6
    np.testing.assert_array_equal(reader.read(100).frames, numbered(4, 6))


def test_what_was_read_is_a_copy():
    ring = make()
    reader = ring.reader()
    ring.write(numbered(0, 10))
    frames = reader.read(10).frames
    ring.write(numbered(1000, 95))
    np.testing.assert_array_equal(frames, numbered(0, 10))


def test_a_slow_reader_loses_its_own_and_only_its_own():
    ring = make()
    quick, slow = ring.reader(), ring.reader()
    for start in range(0, 1000, 10):
        ring.write(numbered(start, 10))
        assert len(quick.read(100).frames) == 10
    chunk = slow.read(1000)
    assert chunk.lost_before == slow.lost_frames == slow.overtaken_frames == 950
    np.testing.assert_array_equal(chunk.frames, numbered(950, 50))
    assert quick.lost_frames == 0


def test_of_a_block_longer_than_the_ring_the_last_part_stays():
    ring = make()
    reader = ring.reader()
    ring.write(numbered(0, 257))
    chunk = reader.read(1000)
    assert ring.written == 257
    assert chunk.lost_before + len(chunk.frames) == 257
    np.testing.assert_array_equal(chunk.frames, numbered(chunk.lost_before, len(chunk.frames)))
    assert len(chunk.frames) == 50
    np.testing.assert_array_equal(ring.reader(from_now=False).read(1000).frames, numbered(157, 100))


def test_no_chunk_spans_a_gap():
    ring = make()
    reader = ring.reader()
    ring.write(numbered(0, 10))
    ring.note_gap(7)
    ring.write(numbered(17, 10))
    before, after, end = (reader.read(100) for _ in range(3))
    assert (before.lost_before, len(before.frames)) == (0, 10)
    assert (after.lost_before, len(after.frames)) == (7, 10)
    assert (end.lost_before, len(end.frames)) == (0, 0)
    assert reader.lost_frames == ring.gap_frames == 7
    assert reader.overtaken_frames == 0


def test_a_gap_with_nothing_behind_it_yet_is_told_at_once_and_only_once():
    ring = make()
    reader = ring.reader()
    ring.note_gap(3)
    ring.note_gap(4)
    chunk = reader.read(10)
    assert (chunk.lost_before, len(chunk.frames)) == (7, 0)
    ring.note_gap(5)
    ring.write(numbered(0, 1))
    chunk = reader.read(10)
    assert (chunk.lost_before, len(chunk.frames)) == (5, 1)
    assert reader.lost_frames == 12


def test_a_gap_before_a_reader_came_is_not_its_own():
    ring = make()
    ring.write(numbered(0, 10))
    ring.note_gap(3)
    assert ring.reader().read(10).lost_before == 0
    whole = ring.reader(from_now=False)
    assert (whole.read(99).lost_before, whole.read(99).lost_before) == (0, 3)


def test_a_gap_at_the_very_start_is_told_to_who_reads_from_the_oldest():
    ring = make()
    ring.note_gap(3)
    ring.write(numbered(0, 10))
    chunk = ring.reader(from_now=False).read(99)
    assert (chunk.lost_before, len(chunk.frames)) == (3, 10)


def test_an_overtaken_reader_counts_the_gaps_that_it_jumped_over_too():
    ring = make()
    reader = ring.reader()
    for start in range(0, 400, 20):
        ring.write(numbered(start, 20))
        ring.note_gap(1)
    first = reader.read(1000)
    heard = len(first.frames)
    while (chunk := reader.read(1000)).lost_before or len(chunk.frames):
        heard += len(chunk.frames)
    assert reader.lost_frames + heard == 400 + 20
    assert reader.overtaken_frames == 400 - heard


@pytest.mark.parametrize("frames", [0, -5])
def test_a_gap_of_nothing_is_none(frames):
    ring = make()
    ring.note_gap(frames)
    assert ring.gap_frames == 0
    assert ring.reader(from_now=False).read(1).lost_before == 0


def test_more_gaps_than_the_log_holds_are_counted_all_the_same():
    ring = make(seconds=20.0)
    reader = ring.reader()
    for start in range(3 * ring_module.GAP_SLOTS):
        ring.write(numbered(start, 1))
        ring.note_gap(2)
    total = heard = 0
    while (chunk := reader.read(1000)).lost_before or len(chunk.frames):
        total += chunk.lost_before
        heard += len(chunk.frames)
        if len(chunk.frames):
            np.testing.assert_array_equal(chunk.frames, numbered(int(chunk.frames[0, 0]), len(chunk.frames)))
    assert total + heard == 3 * 3 * ring_module.GAP_SLOTS
    assert 0 < heard < ring_module.GAP_SLOTS


# --- holding back ----------------------------------------------------------------------------


def test_what_is_held_back_comes_when_it_is_released():
    ring = make()
    reader = ring.reader()
    ring.write(numbered(0, 10))
    ring.hold()
    ring.write(numbered(10, 20))
    np.testing.assert_array_equal(reader.read(99).frames, numbered(0, 10))
    assert reader.behind_frames == 0
    ring.release()
    np.testing.assert_array_equal(reader.read(99).frames, numbered(10, 20))


def test_a_gap_among_what_is_held_back_is_put_where_it_belongs():
    ring = make()
    reader = ring.reader()
    ring.write(numbered(0, 10))
    ring.hold()
    ring.write(numbered(10, 20))
    ring.note_gap(5, frames_ago=15)
    ring.release()
    before, after = reader.read(99), reader.read(99)
    np.testing.assert_array_equal(before.frames, numbered(0, 15))
    np.testing.assert_array_equal(after.frames, numbered(15, 15))
    assert (before.lost_before, after.lost_before) == (0, 5)


def test_a_gap_among_what_was_read_already_moves_to_what_comes():
    ring = make()
    reader = ring.reader()
    ring.write(numbered(0, 30))
    ring.note_gap(5, frames_ago=10)
    ring.write(numbered(30, 1))
    assert reader.read(99).lost_before == 0
    chunk = reader.read(99)
    assert (chunk.lost_before, chunk.frames[0, 0]) == (5, 30)


# --- what is refused -------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rate_hz", "channels", "seconds"), [(0, 2, 15.0), (-1, 2, 15.0), (48_000, 0, 15.0), (48_000, 2, 0.0)]
)
def test_a_ring_of_no_size_is_refused(rate_hz, channels, seconds):
    with pytest.raises(UsageError, match=r"a ring of .* holds nothing; every one of these must be above 0"):
        Ring(rate_hz, channels, seconds)


@pytest.mark.parametrize(
    ("block", "lost"),
    [
        (np.zeros((5, 3), np.float32), 5),
        (np.zeros((5, 1), np.float32), 5),
        (np.zeros(5, np.float32), 5),
        (np.zeros((5, 2, 1), np.float32), 5),
        (np.zeros((), np.float32), 0),
        (np.zeros((0, 3), np.float32), 0),
    ],
)
def test_a_block_of_another_shape_never_fails_and_counts_as_lost(block, lost):
    ring = make()
    reader = ring.reader()
    ring.write(block)
    chunk = reader.read(99)
    assert (len(chunk.frames), chunk.lost_before, ring.refused_frames) == (0, lost, lost)


@pytest.mark.parametrize(
    "block",
    [
        np.zeros((0, 2), np.float32),
        np.full((5, 2), np.nan, np.float32),
        np.full((5, 2), np.inf, np.float32),
        np.zeros((100_000, 2), np.float32),
        np.zeros((2, 5), np.float32).T,
        np.zeros((5, 8), np.float32)[:, 2::4],
        np.zeros((300, 2), np.float32)[::2],
    ],
)
def test_every_block_of_the_right_shape_is_taken(block):
    ring = make()
    ring.write(block)
    assert ring.written == len(block)
    assert ring.refused_frames == 0


@pytest.mark.parametrize("count", [30, 150])
def test_frames_that_lie_apart_in_memory_are_taken_as_they_are(count):
    ring = make()
    ring.write(numbered(0, 85))  # so that what comes wraps
    apart = np.zeros((count, 4), np.float32)
    apart[:, ::2] = numbered(85, count)
    ring.write(apart[:, ::2])
    reader = ring.reader(from_now=False)
    np.testing.assert_array_equal(reader.read(1000).frames, numbered(85 + count - 100, 100))


def test_writing_allocates_nothing_that_grows_with_the_block():
    ring = Ring(48_000, 2)
    block = numbered(0, 24_000)  # 192 kB
    ring.write(block)
    tracemalloc.start()
    try:
        for _ in range(40):  # more than once round
            ring.write(block)
        before, _ = tracemalloc.get_traced_memory()
        tracemalloc.reset_peak()
        for _ in range(40):
            ring.write(block)
        after, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert peak - before < 2000  # a few numbers, and the views that say where to copy
    assert after - before < 500


def test_writing_never_gives_the_interpreter_to_another_thread():
    # Whoever gives it back in a callback waits for as long as others then keep it.
    ring = Ring(48_000, 2, 60.0)
    block = np.zeros((60 * 48_000, 2), np.float32)  # its copy takes long enough for the other to wake up
    turns, is_over = [0], threading.Event()

    def other():
        while not is_over.is_set():
            for _ in range(100):
                turns[0] += 1
            time.sleep(0)

    thread = threading.Thread(target=other)
    interval_s = sys.getswitchinterval()
    sys.setswitchinterval(1000.0)  # nobody is made to give it back
    try:
        thread.start()
        while not turns[0]:
            time.sleep(0.001)
        for _ in range(5):
            time.sleep(0.001)
            before = turns[0]
            ring.write(block)
            assert turns[0] == before
    finally:
        sys.setswitchinterval(interval_s)
        is_over.set()
        thread.join()
