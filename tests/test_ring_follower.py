import numpy as np

from meter.ring_follower import RingFollower
from tests.support.fake_source import FakeSource


def counted(first, count, channels=2):
    return np.repeat(np.arange(first, first + count, dtype=np.float32)[:, None], channels, axis=1)


def test_the_old_ring_is_read_to_its_end_before_the_new_one():
    source = FakeSource()
    follower = RingFollower(lambda: source, from_now=False)
    source.bring(counted(0, 100))
    source.reopen(rate_hz=44_100, channels=1)
    source.bring(counted(500, 10, channels=1))
    np.testing.assert_array_equal(follower.read(60).frames, counted(0, 60))
    np.testing.assert_array_equal(follower.read(60).frames, counted(60, 40))
    assert follower.read(60) is None
    follower.turn()
    assert follower.ring is source.ring
    np.testing.assert_array_equal(follower.read(60).frames, counted(500, 10, channels=1))


def test_a_gap_at_the_end_of_the_old_ring_is_told_before_the_new_one():
    source = FakeSource()
    follower = RingFollower(lambda: source, from_now=False)
    source.bring(counted(0, 10))
    source.lose(70)
    source.reopen()
    assert len(follower.read(60).frames) == 10
    assert follower.read(60).lost_before == 70
    assert follower.read(60) is None


def test_an_empty_ring_is_no_end_while_the_source_keeps_it():
    source = FakeSource()
    follower = RingFollower(lambda: source, from_now=False)
    assert len(follower.read(60).frames) == 0


def test_two_followers_do_not_disturb_each_other():
    source = FakeSource(seconds=0.01)  # holds 480 frames
    quick = RingFollower(lambda: source, from_now=False)
    slow = RingFollower(lambda: source, from_now=False)
    got = 0
    for start in range(0, 2000, 100):
        source.bring(counted(start, 100))
        got += len(quick.read(480).frames)
    assert got == 2000
    assert quick.reader.lost_frames == 0
    late = slow.read(480)
    assert late.lost_before > 0
    assert late.frames[0, 0] == late.lost_before
