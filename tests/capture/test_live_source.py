"""A live source under every misfortune, on a sound system whose time moves by hand.

What was truly lost is read from the frames, which carry their numbers. Our own limits: noticed
within 1 s, opened again within 2 s of the return, gaps counted within 100 ms.
"""

import logging

import numpy as np
import pytest

from meter.capture import live_source, notices
from meter.capture.live_source import LiveSource
from meter.capture.records import SourceInfo, SourceStatus
from meter.errors import SourceError
from tests.support.fake_backend import FakeBackend, Listener, World

RUNNING, LOST, OPENING, ENDED = (
    SourceStatus.RUNNING,
    SourceStatus.LOST,
    SourceStatus.OPENING,
    SourceStatus.ENDED,
)


class Stage:
    """A world, a source that listens to it, and somebody who reads."""

    def __init__(self, **world):
        self.world = World(**world)
        self.backend = FakeBackend(self.world)
        self.source = LiveSource(self.backend, clock=self.world, beside=self.world)
        self.source.start()
        self.listener = Listener(self.source)

    def pass_time(self, seconds):
        for _ in range(round(seconds / 0.1)):
            self.world.pass_time(0.1)
            self.listener.read()

    def seconds_until(self, holds, *, at_most=10.0):
        for passed in range(round(at_most / 0.025) + 1):
            if holds():
                return passed * 0.025
            self.world.pass_time(0.025)
            self.listener.read()
        raise AssertionError(f"not within {at_most} s: {self.source.state()}")

    @property
    def status(self):
        return self.source.state().status

    @property
    def sentence(self):
        return self.source.state().sentence


@pytest.fixture
def stage():
    stage = Stage()
    stage.pass_time(5.0)
    return stage


def assert_gaps_are_right(stage, *lengths_s):
    true = [gap for gap, _ in stage.listener.gaps_s]
    assert true == pytest.approx(lengths_s, abs=0.6)
    for true_s, counted_s in stage.listener.gaps_s:
        assert counted_s == pytest.approx(true_s, abs=0.1)
    counted = sum(counted_s for _, counted_s in stage.listener.gaps_s)
    assert stage.source.state().lost_frames == pytest.approx(counted * stage.source.ring.rate_hz, abs=1)


# --- all is well -----------------------------------------------------------------------------


def test_a_source_that_runs_says_nothing_and_loses_nothing():
    stage = Stage(ppm=100.0)
    assert (stage.status, stage.sentence) == (OPENING, None)
    stage.pass_time(120.0)
    state = stage.source.state()
    assert (state.status, state.sentence, state.lost_frames, state.epoch) == (RUNNING, None, 0, 0)
    assert state.info == SourceInfo(spec="device:Deck", name="Deck", rate_hz=48_000, channels=2)
    assert stage.listener.gaps_s == []
    assert stage.listener.frames == pytest.approx(120 * 48_000, abs=4800)
    assert stage.world.opened == 1


def test_volume_and_mute_are_passed_on_within_a_second(stage):
    assert (stage.source.state().volume_db, stage.source.state().is_muted) == (None, None)
    stage.world.volume_db, stage.world.is_muted = -6.0, True
    stage.pass_time(1.0)
    assert (stage.source.state().volume_db, stage.source.state().is_muted) == (-6.0, True)
    assert stage.status is RUNNING


def test_a_live_source_waits_for_no_reader(stage):
    reader = stage.source.ring.reader()
    stage.source.needs(reader)
    stage.pass_time(20.0)
    assert reader.behind_frames > 0
    assert stage.source.weights is None


# --- a stream that ends ----------------------------------------------------------------------


@pytest.mark.parametrize("away_s", [0.5, 5.0, 60.0])
def test_a_device_that_goes_is_noticed_and_heard_again_when_it_is_back(stage, away_s):
    stage.world.is_present = False
    stage.world.end_streams()
    assert stage.seconds_until(lambda: stage.status is LOST) <= 1.0
    assert stage.sentence in (
        "Deck has gone; listening goes on when it is back",
        notices.cannot("Deck is not there; plug it in"),
    )
    stage.pass_time(away_s)
    assert stage.status is LOST
    stage.world.is_present = True
    assert stage.seconds_until(lambda: stage.status is RUNNING) <= 2.0
    assert stage.sentence.startswith("Deck is back; ")
    assert stage.sentence.endswith(" s were lost") or stage.sentence.endswith(" min were lost")
    stage.pass_time(notices.NOTICE_S + 1.0)
    assert stage.sentence is None
    assert_gaps_are_right(stage, pytest.approx(away_s + 0.5, abs=0.5))


def test_while_it_is_away_the_reason_is_said(stage):
    stage.world.is_present = False
    stage.world.end_streams()
    stage.pass_time(3.0)
    assert stage.sentence == "Deck is not there; plug it in; Leadline tries again by itself"


def test_a_stream_that_ends_while_its_device_stays_is_opened_at_once(stage):
    stage.world.end_streams()
    assert stage.seconds_until(lambda: stage.status is LOST) <= 1.0
    assert stage.seconds_until(lambda: stage.status is RUNNING) <= 0.5
    assert_gaps_are_right(stage, 0.3)


# --- nothing comes ---------------------------------------------------------------------------


@pytest.mark.parametrize("still_s", [3.0, 12.0, 20.0])
def test_a_server_that_stands_still_is_noticed_and_its_stream_kept(stage, still_s):
    stage.world.stands_still = True
    assert stage.seconds_until(lambda: stage.status is LOST) <= 1.0
    stage.pass_time(still_s - 1.0)
    assert stage.sentence == "the sound system does not answer; listening goes on when it does"
    stage.world.stands_still = False
    assert stage.seconds_until(lambda: stage.status is RUNNING) <= 2.0
    stage.pass_time(2.0)
    assert stage.sentence.startswith("Deck is back; ")
    assert stage.world.opened == 1
    assert_gaps_are_right(stage, still_s)


def test_a_quiet_stream_of_a_server_that_answers_is_opened_again(stage):
    stage.backend.stream.is_quiet = True
    assert stage.seconds_until(lambda: stage.status is LOST) <= 1.0
    assert (
        stage.sentence == "nothing comes from Deck, not even silence; listening goes on when something does"
    )
    assert stage.seconds_until(lambda: stage.status is RUNNING) <= 2.0
    assert stage.world.opened == 2
    stage.pass_time(1.0)
    assert_gaps_are_right(stage, 2.0)


def test_a_stream_that_never_gives_a_block_is_said_and_opened_again():
    stage = Stage()
    stage.backend.stream.is_quiet = True
    assert stage.seconds_until(lambda: stage.status is LOST) <= 2.0
    assert stage.seconds_until(lambda: stage.status is RUNNING) <= 2.0
    assert stage.source.state().lost_frames == 0


def test_a_server_that_says_why_it_does_not_answer_is_quoted(stage):
    def look():
        raise SourceError("no sound server answers; start PipeWire")

    stage.backend.look = look
    stage.pass_time(3.0)
    assert stage.status is RUNNING  # blocks come: nothing is wrong
    stage.backend.stream.is_quiet = True
    stage.pass_time(2.0)
    assert (stage.status, stage.sentence) == (LOST, "no sound server answers; start PipeWire")
    stage.pass_time(10.0)
    assert stage.world.opened == 1


def test_a_server_that_stops_answering_again_is_waited_for(stage):
    look, looks = stage.backend.look, []

    def once():
        looks.append(1)
        if len(looks) > 1:
            raise SourceError("no sound server answers; start PipeWire")
        return look()

    stage.backend.stream.is_quiet = True
    stage.pass_time(0.9)
    stage.backend.look = once
    stage.pass_time(5.0)
    assert len(looks) > 5
    assert stage.world.opened == 1


def test_where_no_server_can_be_asked_a_quiet_stream_is_opened_again(stage):
    stage.backend.look = lambda: None
    stage.pass_time(2.0)
    stage.backend.stream.is_quiet = True
    assert stage.seconds_until(lambda: stage.world.opened == 2) <= 3.0


def test_an_opening_that_hangs_is_said_and_ends_well(stage):
    stage.world.end_streams()
    stage.world.stands_still = True
    stage.pass_time(4.0)
    assert (stage.status, stage.sentence) == (LOST, notices.no_answer())
    stage.world.stands_still = False
    assert stage.seconds_until(lambda: stage.status is RUNNING) <= 2.0
    assert_gaps_are_right(stage, 4.3)


def test_between_two_attempts_nothing_stays_half_open(stage):
    stage.backend.fails_to_start = True
    stage.world.end_streams()
    for _ in range(20):
        stage.pass_time(0.1)
        assert not stage.backend.is_open or stage.backend.stream is not None
    assert stage.sentence == "Deck has gone while it was opened; plug it in; Leadline tries again by itself"


# --- it moves or changes ---------------------------------------------------------------------


def test_a_default_that_changes_is_followed(stage):
    stage.world.device, stage.world.has_moved = "Headphones", True
    assert stage.seconds_until(lambda: stage.source.state().info.name == "Headphones") <= 1.0
    assert stage.seconds_until(lambda: stage.status is RUNNING) <= 0.5
    assert stage.sentence.startswith("now listening to Headphones")
    assert stage.source.state().epoch == 0
    stage.pass_time(1.0)
    [(true_s, counted_s)] = stage.listener.gaps_s
    assert true_s < 0.5
    assert counted_s == pytest.approx(true_s, abs=0.1)


def test_a_default_that_changes_again_and_again_is_followed_each_time_at_once(stage):
    for name in ("Headphones", "Loudspeakers", "Interface"):
        stage.world.device, stage.world.has_moved = name, True
        assert stage.seconds_until(lambda name=name: stage.source.state().info.name == name) <= 0.7
        assert stage.seconds_until(lambda: stage.status is RUNNING) <= 0.3
        stage.pass_time(0.6)  # a look that is content


def test_a_changed_rate_begins_a_new_ring_and_a_new_epoch(stage):
    old = stage.source.ring
    stage.world.rate_hz = 44_100
    assert stage.seconds_until(lambda: stage.source.state().epoch == 1) <= 1.0
    assert stage.seconds_until(lambda: stage.status is RUNNING) <= 0.5
    assert stage.sentence.startswith("Deck now runs at 44100 Hz with 2 channels; measuring starts anew")
    assert stage.source.ring is not old
    assert stage.source.ring.rate_hz == 44_100
    stage.pass_time(2.0)
    [(_, counted_s)] = stage.listener.gaps_s  # told before the first frame of the new ring
    assert 0.0 < counted_s < 0.5
    assert stage.source.state().lost_frames == round(counted_s * 44_100)


def test_another_count_of_channels_begins_a_new_ring(stage):
    stage.world.channels = 1
    stage.pass_time(2.0)
    assert stage.source.ring.channels == 1
    assert stage.sentence.startswith("Deck now runs at 48000 Hz with 1 channel; measuring starts anew")


def test_a_look_that_is_never_content_does_not_open_it_all_the_time(stage):
    look = stage.backend.look

    def discontent():
        stage.world.has_moved = True
        return look()

    stage.backend.look = discontent
    stage.pass_time(10.0)
    assert stage.world.opened <= 1 + 5


def test_a_source_that_the_server_says_is_gone_is_closed(stage):
    look = stage.backend.look
    gone = SourceInfo(spec="device:Deck", name="Deck", why_not="Deck was removed", what_to_do="plug it in")

    def removed():
        seen = look()
        return type(seen)(info=gone)

    stage.backend.look = removed
    stage.world.is_present = False
    stage.pass_time(1.0)
    assert stage.status is LOST
    assert stage.backend.stream is None


# --- sleep and stalls ------------------------------------------------------------------------


@pytest.mark.parametrize("sleep_s", [3.0, 42.0, 7200.0])
def test_sleep_of_the_computer_is_said_and_counted(stage, sleep_s):
    stage.world.sleep(sleep_s)
    stage.pass_time(1.0)
    assert stage.status is RUNNING
    length = notices.seconds_text(sleep_s)
    assert stage.sentence == f"the computer slept for {length}; {length} were lost"
    stage.pass_time(20.0)
    [(_, counted_s)] = stage.listener.gaps_s
    assert counted_s == pytest.approx(sleep_s, abs=0.1)
    assert stage.world.opened == 1
    assert stage.source.state().lost_frames == pytest.approx(sleep_s * 48_000, abs=4800)


def test_a_stream_that_does_not_outlive_the_sleep_is_opened_again_and_the_sleep_counted_once(stage):
    stage.world.end_streams()
    stage.world.sleep(42.0)
    assert stage.seconds_until(lambda: stage.status is RUNNING) <= 2.0
    stage.pass_time(5.0)
    assert_gaps_are_right(stage, 42.5)


@pytest.mark.parametrize("stall_s", [2.0, 9.0])
def test_a_stall_of_this_program_that_the_server_bridges_loses_nothing(stage, stall_s):
    stage.world.is_stalled = True
    stage.pass_time(stall_s)
    stage.world.is_stalled = False
    for _ in range(50):
        stage.pass_time(0.1)
        assert stage.status is RUNNING
    assert stage.listener.gaps_s == []


def test_after_a_stall_the_stream_is_given_time_to_go_on(stage):
    stage.world.is_stalled = True
    stage.pass_time(5.0)
    stage.world.is_stalled = False
    stage.backend.stream.is_quiet = True
    for _ in range(5):  # the watch looks first, the callback is still on its way
        stage.pass_time(0.1)
        assert stage.status is RUNNING
    stage.backend.stream.is_quiet = False
    stage.pass_time(1.0)
    assert stage.status is RUNNING


@pytest.mark.parametrize("stall_s", [12.0, 20.0])
def test_a_longer_stall_of_this_program_is_counted_within_100_ms(stage, stall_s):
    stage.world.is_stalled = True
    stage.pass_time(stall_s)
    stage.world.is_stalled = False
    stage.pass_time(5.0)
    assert_gaps_are_right(stage, stall_s - 10.9)
    assert stage.sentence.endswith(
        "s of sound came too late to be kept; close what keeps the computer busy if it comes again"
    )
    assert stage.world.opened == 1


# --- again and again -------------------------------------------------------------------------


def misfortunes(stage, times):
    for k in range(times):
        stage.world.is_present = False
        stage.world.end_streams()
        stage.pass_time(1.0)
        stage.world.is_present = True
        stage.pass_time(2.0)
        stage.world.rate_hz = (44_100, 48_000)[k % 2]
        stage.pass_time(2.5)
        stage.world.device, stage.world.has_moved = f"Output {k}", True
        stage.pass_time(2.5)
        assert stage.status is RUNNING
        stage.world.stands_still = True
        stage.pass_time(2.0)
        stage.world.stands_still = False
        stage.pass_time(2.0)
        assert stage.status is RUNNING


def test_all_of_it_five_times_leaves_nothing_behind(stage):
    misfortunes(stage, 5)
    assert len(stage.world.streams) == 1
    assert not stage.world.jobs
    assert stage.source.state().epoch == 5
    for true_s, counted_s in stage.listener.gaps_s:
        assert np.isnan(true_s) or counted_s == pytest.approx(true_s, abs=0.1)


@pytest.mark.long
def test_all_of_it_fifty_times_leaves_nothing_behind(stage):
    import tracemalloc

    misfortunes(stage, 5)
    tracemalloc.start()
    try:
        misfortunes(stage, 2)
        before, _ = tracemalloc.get_traced_memory()
        misfortunes(stage, 50)
        after, _ = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert after - before < 200_000
    assert len(stage.world.streams) == 1


# --- what is refused, and the end --------------------------------------------------------------


def test_a_source_that_cannot_be_opened_is_refused_in_one_sentence():
    world = World(is_present=False)
    source = LiveSource(FakeBackend(world), clock=world, beside=world)
    with pytest.raises(SourceError, match=r"^Deck is not there; plug it in$"):
        source.start()
    assert source.state().status is ENDED


def test_a_device_that_goes_while_it_is_opened_is_refused_in_one_sentence_and_closed():
    world = World()
    backend = FakeBackend(world)
    backend.fails_to_start = True
    source = LiveSource(backend, clock=world, beside=world)
    with pytest.raises(SourceError, match=r"^Deck has gone while it was opened; plug it in$"):
        source.start()
    assert not backend.is_open


@pytest.mark.parametrize("field", ["rate_hz", "channels"])
def test_a_source_that_does_not_say_its_form_is_refused(field):
    world = World()
    setattr(world, field, None)
    source = LiveSource(FakeBackend(world), clock=world, beside=world)
    with pytest.raises(
        SourceError, match=r"Deck does not say its rate or its channels; choose another source"
    ):
        source.start()


def test_a_backend_that_breaks_a_promise_is_logged_and_said_in_one_sentence(caplog):
    world = World()
    backend = FakeBackend(world)
    backend.breaks = RuntimeError("no such thing")
    info = SourceInfo(spec="device:Deck", name="Deck")
    source = LiveSource(backend, info=info, clock=world, beside=world)
    with (
        caplog.at_level(logging.CRITICAL),
        pytest.raises(SourceError, match=r"^Deck cannot be opened \(no such thing\)$"),
    ):
        source.start()


def test_an_opening_that_never_ends_is_given_up(monkeypatch):
    monkeypatch.setattr(live_source, "OPEN_WAIT_S", 0.05)
    world = World(stands_still=True)
    info = SourceInfo(spec="device:Deck", name="Deck")
    source = LiveSource(FakeBackend(world), info=info, clock=world, beside=world)
    with pytest.raises(
        SourceError, match=r"^Deck cannot be opened: the sound system does not answer; start it anew"
    ):
        source.start()
    world.stands_still = False
    world.pass_time(0.1)  # the opening comes back after all: nothing stays open
    assert world.streams == []


def test_after_stop_it_is_closed_and_nothing_comes_any_more(stage):
    written = stage.source.ring.written
    stage.source.stop()
    stage.source.stop()
    stage.world.pass_time(3.0)
    assert (stage.status, stage.sentence) == (ENDED, None)
    assert stage.world.streams == []
    assert stage.source.ring.written == written


def test_stop_without_start_ends_it():
    world = World()
    source = LiveSource(FakeBackend(world), clock=world, beside=world)
    source.stop()
    assert source.state().status is ENDED


def test_what_an_abandoned_stream_still_delivers_does_not_reach_the_ring(stage):
    ghost = stage.backend.stream
    stage.world.end_streams()
    stage.pass_time(1.0)
    assert stage.status is RUNNING
    before = stage.source.ring.written
    ghost.on_block(np.ones((100, 2), np.float32), 5.0)
    assert stage.source.ring.written == before
