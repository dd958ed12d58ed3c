"""The engine with its thread: what it measures is what `tests/test_worker.py` holds; here is how it lives."""

import logging
import sys
import threading
import time

import numpy as np
import pytest

from meter.capture.file_source import FileSource
from meter.engine import SWITCH_S, Engine
from meter.errors import MeterError, SourceError
from meter.passes import measure
from meter.worker import Worker
from tests.support.fake_source import FakeSource, PacedSource


def noise(seconds, *, rate_hz=48_000, channels=2, seed=1):
    frames = round(seconds * rate_hz)
    return (np.random.default_rng(seed).standard_normal((frames, channels)) * 0.1).astype(np.float32)


def wait_for(condition):
    """Wait until something is so; a test that waits in vain fails."""
    until_s = time.monotonic() + 30.0
    while not condition():
        assert time.monotonic() < until_s, "it never came"
        time.sleep(0.005)


@pytest.fixture
def engines():
    """Engines on a source, stopped at the end whatever happens."""
    made = []

    def make(source, **how):
        made.append(Engine(source, **how))
        return made[-1]

    yield make
    for engine in made:
        engine.stop()


def test_it_measures_what_comes_and_ends_the_pass_when_stopped(engines):
    source, sound, passes, rows = FakeSource(), noise(2.345), [], []
    engine = engines(source, on_soundings=lambda new: rows.append(new.copy()), on_pass=passes.append)
    engine.start()
    source.bring(sound)
    engine.stop()
    assert source.calls == ["start", "needs", "stop"]
    assert passes[0].summary() == measure(sound, rate_hz=48_000)
    np.testing.assert_array_equal(np.concatenate(rows)["start_frame"], passes[0].store.rows()["start_frame"])
    assert engine.now.has_ended


def test_a_file_as_fast_as_it_goes_is_measured_whole(engines, tmp_path):
    import soundfile

    sound = noise(40.0)  # more than the ring holds
    soundfile.write(tmp_path / "tune.wav", sound, 48_000, subtype="FLOAT")
    ended, passes = threading.Event(), []
    source = FileSource(tmp_path / "tune.wav", as_fast=True)
    engines(source, on_pass=passes.append, on_end=lambda now: ended.set()).start()
    assert ended.wait(60.0)
    assert passes[0].summary() == measure(sound, rate_hz=48_000)


def test_soundings_come_ten_times_a_second_and_the_reading_with_them(engines):
    source = PacedSource(noise(1.0))
    rows, readings = [], []

    def take(new):
        rows.append(len(new))
        readings.append(engine.reading.at_s)

    engine = engines(source, seconds=1.0, on_soundings=take)
    engine.start()
    wait_for(lambda: engine.now.has_ended)
    assert rows == [1] * 10
    assert readings == pytest.approx([0.1 * (k + 1) for k in range(10)])
    assert engine.live_pass.gaps == []


def test_the_end_is_told_once_and_after_the_last_sounding(engines):
    told = []
    source = FakeSource()
    engine = engines(
        source, on_soundings=lambda rows: told.append("rows"), on_end=lambda now: told.append(now)
    )
    engine.start()
    source.bring(noise(0.3))
    source.end("that was all")
    wait_for(lambda: engine.now.has_ended)
    engine.stop()
    assert told[:3] == ["rows"] * 3
    (end,) = told[3:]
    assert end.state.sentence == "that was all"


def test_commands_are_done_between_steps_in_their_order(engines):
    source, passes = FakeSource(), []
    engine = engines(source, on_pass=passes.append)
    engine.start()
    source.bring(noise(0.5))
    engine.hold(True)
    wait_for(lambda: engine.now.is_held)
    source.bring(noise(0.5))
    engine.hold(False)
    wait_for(lambda: not engine.now.is_held)
    source.bring(noise(0.5))
    engine.mark()
    wait_for(lambda: engine.now.pass_number == 2)
    source.bring(noise(0.5))
    engine.stop()
    first, second = passes
    assert (len(first.store), len(second.store)) == (10, 5)
    assert [hold.frames for hold in first.holds] == [24_000]


def test_another_source_is_taken_while_it_runs(engines):
    first, second, passes = FakeSource(), FakeSource(rate_hz=44_100), []
    engine = engines(first, on_pass=passes.append)
    engine.start()
    first.bring(noise(0.5))
    engine.set_source(second)
    wait_for(lambda: engine.now.rate_hz == 44_100)
    second.bring(noise(0.5, rate_hz=44_100))
    engine.stop()
    assert [one.rate_hz for one in passes] == [48_000, 44_100]
    assert second.calls == ["start", "needs", "stop"]


def test_a_source_that_cannot_be_taken_is_said_and_the_old_one_goes_on(engines, caplog):
    source, said = FakeSource(), []
    engine = engines(source)
    engine.start()
    with caplog.at_level(logging.ERROR):
        engine.set_source(FakeSource(refuses="there is no such input"), on_problem=said.append)
        wait_for(lambda: said)
    source.bring(noise(0.5))
    engine.stop()
    assert said == ["there is no such input"]
    assert len(engine.live_pass.store) == 5


def test_a_source_that_cannot_be_opened_is_an_error_of_start(engines):
    with pytest.raises(SourceError, match="there is no such input"):
        engines(FakeSource(refuses="there is no such input")).start()


def test_what_cannot_be_measured_is_an_error_of_start_and_the_source_is_stopped(engines):
    source = FakeSource(channels=9)
    with pytest.raises(MeterError, match="choose a pair, for example --channels 1,2"):
        engines(source).start()
    assert source.calls == ["start", "stop"]


def test_a_slow_reader_reads_on_its_own(engines):
    source = FakeSource()
    engine = engines(source)
    engine.start()
    slow = engine.slow_reader()
    source.bring(noise(0.5))
    wait_for(lambda: engine.reading is not None and engine.reading.at_s > 0.45)
    assert len(slow.read(100_000).frames) == 24_000
    source.reopen(rate_hz=44_100)
    source.bring(noise(0.1, rate_hz=44_100))
    assert slow.read(100_000) is None
    slow.turn()
    assert len(slow.read(100_000).frames) == 4410


def test_stopping_twice_or_before_the_start_or_from_a_listener_does_no_harm(engines):
    source = FakeSource()
    engine = engines(source, on_soundings=lambda rows: engine.stop())
    engine.stop()
    assert engine.now.reading is None and engine.reading is None and engine.live_pass is None
    engine.start()
    source.bring(noise(0.3))
    wait_for(lambda: engine.now.has_ended)
    engine.stop()
    engine.stop()
    assert source.calls.count("stop") == 1


def test_a_mistake_in_the_program_is_said_logged_and_kept(engines, caplog, monkeypatch):
    def break_down(self):
        raise ZeroDivisionError("a mistake")

    ends, source = [], FakeSource()
    engine = engines(source, on_end=ends.append)
    engine.start()
    with caplog.at_level(logging.CRITICAL, "meter.engine"):
        monkeypatch.setattr(Worker, "step", break_down)
        wait_for(lambda: ends)
    assert isinstance(engine.failure, ZeroDivisionError)
    assert engine.now.problem == "measuring broke off (a mistake); please report it with the log"
    assert engine.now.has_ended
    assert "please report this" in caplog.records[0].message
    engine.stop()
    assert source.calls[-1] == "stop"


def test_a_source_that_fails_to_stop_keeps_nothing_from_ending(engines, caplog, monkeypatch):
    def fail(self):
        raise RuntimeError("stuck")

    passes = []
    source = FakeSource()
    engine = engines(source, on_pass=passes.append)
    engine.start()
    source.bring(noise(0.3))
    monkeypatch.setattr(FakeSource, "stop", fail)
    with caplog.at_level(logging.ERROR, "meter.engine"):
        engine.stop()
    assert engine.now.has_ended and len(passes[0].store) == 3
    assert [record.message for record in caplog.records] == [
        "please report this: the source could not be stopped"
    ]


def test_threads_give_way_sooner_and_linear_algebra_keeps_to_one(engines):
    import threadpoolctl

    with engines(FakeSource()):
        assert sys.getswitchinterval() == pytest.approx(SWITCH_S)
        pools = threadpoolctl.threadpool_info()
        assert {pool["num_threads"] for pool in pools if pool["user_api"] == "blas"} <= {1}


def test_engines_leave_no_thread_behind(engines):
    before = threading.active_count()
    for _ in range(3):
        with engines(FakeSource()):
            pass
    assert threading.active_count() == before
