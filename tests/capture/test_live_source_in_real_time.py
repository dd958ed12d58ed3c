"""A live source with its own threads, on a backend that may freeze and die; in real time."""

import threading
import time

import numpy as np
import pytest

from meter.capture import notices
from meter.capture.live_source import LiveSource
from meter.capture.records import SourceInfo, SourceStatus
from meter.errors import SourceError

RUNNING, LOST, ENDED = SourceStatus.RUNNING, SourceStatus.LOST, SourceStatus.ENDED


class Deck(threading.Thread):
    """A backend that delivers 10 ms blocks in real time; it may freeze and die."""

    def __init__(self):
        super().__init__(daemon=True)
        self.is_present = True
        self.hangs = threading.Event()
        self.on_block = None
        self.calls = set()
        self.start_thread()

    def start_thread(self):
        super().start()

    def run(self):
        block = np.zeros((480, 2), np.float32)
        due_s = time.monotonic()
        while self.is_present is not None:
            due_s += 0.01
            time.sleep(max(due_s - time.monotonic(), 0.0))
            if self.on_block is not None and self.is_present and not self.hangs.is_set():
                self.on_block(block, due_s - 0.01)

    def _call(self):
        self.calls.add(threading.current_thread().name)
        while self.hangs.is_set():
            time.sleep(0.01)

    def open(self):
        self._call()
        if not self.is_present:
            raise SourceError("the deck is away; plug it in")
        return SourceInfo(spec="device:d", name="the deck", rate_hz=48_000, channels=2)

    def start(self, on_block):
        self.on_block = on_block

    def close(self):
        self._call()
        self.on_block = None

    def is_alive(self):
        return bool(self.is_present)

    def look(self):
        self._call()


def wait_until(holds, *, at_most_s):
    end_s = time.monotonic() + at_most_s
    while not holds():
        assert time.monotonic() < end_s, f"not within {at_most_s} s"
        time.sleep(0.01)


def ours():
    return [thread.name for thread in threading.enumerate() if thread.name.startswith("leadline device:d")]


@pytest.fixture
def deck():
    deck = Deck()
    yield deck
    deck.hangs.clear()
    deck.is_present = None
    deck.join(2.0)


def live(deck):
    source = LiveSource(deck, info=SourceInfo(spec="device:d", name="the deck"))
    source.start()
    return source


def test_in_real_time_a_deck_that_goes_and_comes_back_is_heard_again(deck):
    source = live(deck)
    wait_until(lambda: source.state().status is RUNNING, at_most_s=20.0)
    deck.is_present = False
    wait_until(lambda: source.state().status is LOST, at_most_s=20.0)
    deck.is_present = True
    wait_until(lambda: source.state().status is RUNNING, at_most_s=20.0)
    written = source.ring.written
    wait_until(lambda: source.ring.written > written, at_most_s=20.0)
    assert source.state().lost_frames > 0
    source.stop()
    assert source.state().status is ENDED
    assert ours() == []
    assert deck.on_block is None
    assert len(deck.calls) == 1  # all calls from one thread


def test_in_real_time_the_state_stays_true_while_every_call_hangs_and_stop_returns(deck):
    source = live(deck)
    wait_until(lambda: source.state().status is RUNNING, at_most_s=20.0)
    deck.hangs.set()
    wait_until(lambda: source.state().sentence == notices.no_answer(), at_most_s=20.0)
    assert source.state().status is LOST
    source.stop()
    assert source.state().status is ENDED
    deck.hangs.clear()
    wait_until(lambda: ours() == [], at_most_s=20.0)
    assert deck.on_block is None
