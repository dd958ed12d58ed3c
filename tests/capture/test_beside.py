"""The threads of a live source end, go on, and can be left behind."""

import logging
import threading
import time

from meter.capture.beside import Threads


def wait_until(holds, *, at_most_s=20.0):
    end_s = time.monotonic() + at_most_s
    while not holds():
        assert time.monotonic() < end_s, f"not within {at_most_s} s"
        time.sleep(0.005)


def alive(name):
    return [thread for thread in threading.enumerate() if thread.name.startswith(name)]


def test_jobs_run_one_after_another_in_one_thread_and_the_last_one_last():
    beside, done = Threads("one"), []
    for k in range(5):
        beside.run(lambda k=k: done.append((k, threading.current_thread().name)))
    beside.stop(lambda: done.append(("last", threading.current_thread().name)), wait_s=5.0)
    assert done == [(k, "one calls") for k in (0, 1, 2, 3, 4, "last")]
    assert alive("one") == []


def test_the_watch_goes_on_while_a_job_hangs():
    beside, ticks, hang = Threads("two"), [], threading.Event()
    beside.every(0.005, lambda: ticks.append(1))
    beside.run(lambda: hang.wait(10.0))
    before = len(ticks)
    wait_until(lambda: len(ticks) > before + 5)
    hang.set()
    beside.stop(lambda: None, wait_s=5.0)
    assert alive("two") == []


def test_a_tick_that_is_wanted_comes_at_once_and_the_others_as_before():
    beside, ticks, done = Threads("six"), [], threading.Event()

    def tick():
        ticks.append(1)
        done.set()

    beside.every(600.0, tick)
    for _ in range(3):
        done.clear()
        beside.tick_soon()
        assert done.wait(20.0)
    assert len(ticks) == 3
    beside.stop(lambda: None, wait_s=5.0)
    assert alive("six") == []


def test_what_hangs_is_left_behind_and_ends_by_itself():
    beside, hang, closed = Threads("three"), threading.Event(), threading.Event()
    beside.run(lambda: hang.wait(10.0))
    beside.stop(closed.set, wait_s=0.02)
    assert not closed.is_set()
    hang.set()
    assert closed.wait(5.0)
    wait_until(lambda: alive("three") == [])


def test_a_broken_promise_is_logged_and_ends_no_thread(caplog):
    beside, ticks, done = Threads("four"), [], []

    def tick():
        ticks.append(1)
        raise RuntimeError("broken tick")

    def job():
        raise RuntimeError("broken job")

    with caplog.at_level(logging.ERROR, logger="meter.capture"):
        beside.run(job)
        beside.run(lambda: done.append(1))
        beside.every(0.005, tick)
        wait_until(lambda: len(ticks) > 2 and done)
        beside.stop(lambda: None, wait_s=5.0)
    assert "please report this" in caplog.text
    assert "broken job" in caplog.text and "broken tick" in caplog.text


def test_no_tick_comes_after_stop():
    beside, ticks = Threads("five"), []
    beside.every(0.001, lambda: ticks.append(1))
    wait_until(lambda: len(ticks) > 3)
    beside.stop(lambda: None, wait_s=5.0)
    before = len(ticks)
    time.sleep(0.02)
    assert len(ticks) == before
