"""From callback to ring: gaps where they lie, and nothing that keeps a callback waiting."""

import threading
import tracemalloc

import numpy as np

from meter.capture.feed import Feed, Tally
from meter.capture.ring import Ring
from tests.support.fake_backend import World

RATE_HZ = 48_000
BLOCK = np.zeros((1200, 2), np.float32)
BLOCK_S = 0.025


def feed_on(world, tally=None, ring=None):
    return Feed(ring or Ring(RATE_HZ, 2), world, tally or Tally())


def hear(feed, world, seconds, *, adc_offset_s=0.0):
    """Blocks, one after another, each in time."""
    for _ in range(round(seconds / BLOCK_S)):
        world.true_s += BLOCK_S
        feed.take(BLOCK, world.true_s - BLOCK_S - world.slept_s + adc_offset_s)


def read_all(ring, reader):
    frames = gaps = 0
    places = []
    while True:
        chunk = reader.read(1 << 30)
        if chunk.lost_before:
            gaps += chunk.lost_before
            places.append(frames)
        frames += len(chunk.frames)
        if not len(chunk.frames) and not chunk.lost_before:
            return frames, gaps, places


def test_frames_lost_in_the_stream_are_marked_where_they_lie():
    world, tally = World(), Tally()
    feed = feed_on(world, tally)
    reader = feed.ring.reader()
    hear(feed, world, 4.0)
    world.true_s += 2.0
    hear(feed, world, 4.0)
    assert read_all(feed.ring, reader) == (8 * RATE_HZ, 2 * RATE_HZ, [4 * RATE_HZ])
    assert tally.lost_frames == 2 * RATE_HZ
    assert tally.lost_s == 2.0


def test_what_may_lie_behind_a_gap_is_held_back_until_that_is_decided():
    world = World()
    feed = feed_on(world)
    reader = feed.ring.reader()
    hear(feed, world, 4.0)
    world.true_s += 2.0
    hear(feed, world, 0.5)
    assert read_all(feed.ring, reader) == (4 * RATE_HZ, 0, [])
    hear(feed, world, 0.5)
    assert read_all(feed.ring, reader) == (RATE_HZ, 2 * RATE_HZ, [0])


def test_a_stream_that_ends_before_that_is_decided_counts_what_is_missing():
    world, tally = World(), Tally()
    feed = feed_on(world, tally)
    reader = feed.ring.reader()
    hear(feed, world, 4.0)
    world.true_s += 2.0
    hear(feed, world, 0.5)
    feed.close()
    assert read_all(feed.ring, reader) == (4.5 * RATE_HZ, 2 * RATE_HZ, [4 * RATE_HZ])
    assert tally.lost_frames == 2 * RATE_HZ


def test_the_time_between_two_streams_is_a_gap():
    world, tally, ring = World(), Tally(), Ring(RATE_HZ, 2)
    reader = ring.reader()
    first = feed_on(world, tally, ring)
    hear(first, world, 1.0)
    first.close()
    world.true_s += 3.0
    hear(feed_on(world, tally, ring), world, 1.0)
    assert read_all(ring, reader) == (2 * RATE_HZ, 3 * RATE_HZ, [RATE_HZ])


def test_two_streams_are_never_joined_without_a_gap():
    world, tally, ring = World(), Tally(), Ring(RATE_HZ, 2)
    reader = ring.reader()
    for _ in range(2):
        feed = feed_on(world, tally, ring)
        hear(feed, world, 1.0)
        feed.close()
    assert read_all(ring, reader) == (2 * RATE_HZ, 1, [RATE_HZ])


def test_the_first_stream_has_no_gap_before_it():
    world, tally = World(), Tally()
    feed = feed_on(world, tally)
    world.true_s += 60.0
    hear(feed, world, 1.0)
    assert tally.lost_frames == 0


def test_sleep_is_marked_at_the_first_block_after_it_and_not_counted_by_the_clock_of_the_stream_too():
    for clock_sleeps_too in (True, False):
        world, tally = World(), Tally()
        feed = feed_on(world, tally)
        reader = feed.ring.reader()
        hear(feed, world, 2.0)
        world.sleep(100.0)
        hear(feed, world, 4.0, adc_offset_s=0.0 if clock_sleeps_too else 100.0)
        assert read_all(feed.ring, reader) == (6 * RATE_HZ, 100 * RATE_HZ, [2 * RATE_HZ])
        assert tally.slept_s == 100.0


def test_sleep_before_the_first_block_of_a_stream_is_counted_once():
    world, tally, ring = World(), Tally(), Ring(RATE_HZ, 2)
    first = feed_on(world, tally, ring)
    hear(first, world, 1.0)
    first.close()
    second = feed_on(world, tally, ring)
    world.sleep(30.0)
    hear(second, world, 1.0)
    assert tally.lost_frames == 30 * RATE_HZ
    assert tally.slept_s == 30.0


def test_losses_after_sleep_are_still_told():
    world, tally = World(), Tally()
    feed = feed_on(world, tally)
    reader = feed.ring.reader()
    hear(feed, world, 2.0)
    world.sleep(100.0)
    hear(feed, world, 4.0)
    world.true_s += 2.0
    hear(feed, world, 4.0)
    assert read_all(feed.ring, reader)[1:] == (102 * RATE_HZ, [2 * RATE_HZ, 6 * RATE_HZ])


def test_a_clock_that_reads_too_little_for_once_tells_no_sleep():
    world, tally = World(), Tally()
    world.slept_s = 50.0
    feed = feed_on(world, tally)
    hear(feed, world, 1.0)
    for slept_s in (45.0, 50.0):
        world.slept_s = slept_s
        feed.take(BLOCK, 0.0)
    assert tally.lost_frames == 0


def test_a_closed_feed_takes_nothing():
    world = World()
    feed = feed_on(world)
    feed.close()
    hear(feed, world, 1.0)
    assert feed.ring.written == 0


def test_closing_waits_for_the_call_that_is_under_way():
    world, order = World(), []
    feed = feed_on(world)
    inside, go_on = threading.Event(), threading.Event()

    class SlowClock(World):
        def now_s(self):
            inside.set()
            go_on.wait(10.0)
            order.append("took")
            return world.now_s()

    feed._clock = SlowClock()
    taking = threading.Thread(target=lambda: feed.take(BLOCK, 1.0))
    closing = threading.Thread(target=lambda: (feed.close(), order.append("closed")))
    taking.start()
    inside.wait(10.0)
    closing.start()
    closing.join(0.05)
    assert closing.is_alive()
    go_on.set()
    taking.join(10.0)
    closing.join(10.0)
    assert order == ["took", "closed"]
    assert feed.ring.written == len(BLOCK)


def test_taking_a_block_allocates_no_array():
    world = World()
    feed = feed_on(world)
    block = np.zeros((24_000, 2), np.float32)
    times_s = [world.true_s + 0.5 * k for k in range(80)]
    for time_s in times_s[:40]:
        feed.take(block, time_s)
    tracemalloc.start()
    try:
        before, _ = tracemalloc.get_traced_memory()
        for time_s in times_s[40:]:
            feed.take(block, time_s)
        after, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert peak - before < 4000
    assert after - before < 2000


def test_a_block_of_the_wrong_shape_or_without_frames_does_no_harm():
    world = World()
    feed = feed_on(world)
    feed.take(np.zeros((100, 7), np.float32), 1.0)
    feed.take(np.zeros((0, 2), np.float32), 1.0)
    assert (feed.ring.written, feed.ring.refused_frames) == (0, 100)
