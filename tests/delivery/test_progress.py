"""Things side by side in threads: their order, how far they are, and that all end when one must."""

from __future__ import annotations

import threading
import time

import pytest

from meter.delivery.progress import Stopped, part_of, side_by_side

WAIT_S = 20.0


def test_results_come_in_their_order_and_so_many_work_at_once():
    meet = threading.Barrier(2)

    def work(number):
        def run(tell):
            tell(f"work {number}", 0.5)
            meet.wait(WAIT_S)  # nobody gets by alone
            return number

        return run

    assert side_by_side([work(number) for number in range(4)], at_once=2) == [0, 1, 2, 3]


def test_one_at_a_time_never_meets_another():
    busy, most = [], []

    def run(tell):
        busy.append(1)
        time.sleep(0.05)  # long enough to meet whoever works beside it
        most.append(len(busy))
        busy.pop()

    side_by_side([run] * 3, at_once=1)
    assert max(most) == 1


def test_the_caller_is_told_in_its_own_thread():
    told, goes_on = [], threading.Event()

    def run(tell):
        tell("AAC", 0.25)
        goes_on.wait(WAIT_S)

    def tell(words, share):
        told.append((words, share, threading.current_thread()))
        if words == "AAC; AAC":
            goes_on.set()

    side_by_side([run, run], tell=tell)
    assert {thread for *_, thread in told} == {threading.current_thread()}
    assert ("AAC; AAC", 0.25) in [(words, share) for words, share, _ in told]


@pytest.mark.parametrize("wrong", [KeyboardInterrupt, ValueError])
def test_what_the_caller_raises_ends_the_others_too(wrong):
    ended = []

    def run(tell):
        try:
            while True:
                tell("work", 0.5)
        except Stopped:
            ended.append(1)
            raise

    def tell(words, share):
        if words == "work; work":
            raise wrong

    with pytest.raises(wrong):
        side_by_side([run] * 3, at_once=2, tell=tell)
    assert ended == [1, 1]
    assert not [one for one in threading.enumerate() if one.name.startswith("leadline encoder")]


def test_what_one_raises_is_raised_when_the_others_are_done():
    done = []

    def bad(tell):
        raise ValueError("no")

    with pytest.raises(ValueError, match="no"):
        side_by_side([bad, lambda tell: done.append(1)])
    assert done == [1]


def test_a_share_of_a_stretch_is_a_share_of_the_whole():
    told = []
    part_of(lambda *what: told.append(what), "a", 0.5, 0.9)(0.5)
    assert told == [("a", pytest.approx(0.7))]
