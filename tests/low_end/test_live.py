"""The low end of what is heard live: a thread of its own."""

import time

import numpy as np
import pytest

from meter.engine import Engine
from meter.low_end import analysis
from meter.low_end.clock import low_clock
from meter.low_end.live import LiveLowEnd
from meter.low_end.settings import LowEndSettings
from meter.low_end.stream import LowStream
from tests.support.bass import around, both, low_end_of, note
from tests.support.fake_source import FakeSource
from tests.support.low_sink import Kept


@pytest.fixture
def kept(monkeypatch):
    """What every analysis is fed with, beside what it does."""
    made = []

    class Watched(analysis.LowEndAnalysis):
        def __init__(self, *args):
            super().__init__(*args)
            made.append(Kept())
            self._parts = (*self._parts, made[-1])

    monkeypatch.setattr(analysis, "LowEndAnalysis", Watched)
    return made


def noise(seconds, rate_hz=48_000):
    frames = round(seconds * rate_hz)
    return (0.1 * np.random.default_rng(3).standard_normal((frames, 2))).astype(np.float32)


def test_it_follows_the_engine_from_its_first_frame_over_gaps_and_to_its_end(kept):
    source, sound = FakeSource(), noise(3.0)
    with Engine(source) as engine:
        source.bring(sound[:48_000])
        live = LiveLowEnd(engine)
        live.start()
        source.lose(999)
        source.bring(sound[48_000:])
        live.stop()
        live.stop()
    expected = Kept()
    stream = LowStream(rate_hz=48_000, channels=2, sink=expected)
    stream.process(sound[:48_000])
    stream.gap(999)
    stream.process(sound[48_000:])
    (heard,) = kept
    assert heard.flushes == 1
    assert [first for first, _ in heard.pieces] == [0, round(48_999 / low_clock(48_000).factor)]
    for (_, one), (_, other) in zip(heard.pieces, expected.pieces, strict=True):
        np.testing.assert_array_equal(one, other)


def test_another_ring_is_another_pass(kept):
    source = FakeSource()
    with Engine(source) as engine:
        live = LiveLowEnd(engine)
        live.start()
        source.bring(noise(1.0))
        source.reopen(rate_hz=44_100)
        source.bring(noise(1.0, 44_100))
        live.stop()
    first, second = kept
    assert [len(samples) for _, samples in first.pieces + second.pieces] == [3000, 2940]


def test_a_pass_that_has_ended_is_told_once_with_the_notes_a_file_would_have():
    sound = both(around(0.4 * note(55.0, 1.0, np.random.default_rng(1)))).astype(np.float32)
    source = FakeSource()
    with Engine(source) as engine:
        live = LiveLowEnd(engine)
        live.start()
        source.bring(sound)
        source.end()
        told = live.take_ended()
        assert told is not None
        assert told.sub_notes == low_end_of(sound).sub_notes
        assert [one.note for one in told.sub_notes] == ["A1"]
        live.stop()
        assert live.now.sub_notes == told.sub_notes


def test_it_looks_seldom_while_nobody_sees_it_and_at_once_when_somebody_does(monkeypatch):
    steps = []
    monkeypatch.setattr(LiveLowEnd, "_step", lambda self, _: steps.append(time.monotonic()))
    source = FakeSource()
    with Engine(source) as engine:
        live = LiveLowEnd(engine)
        live.slow_down(True)
        live.start()
        time.sleep(1.2)
        seldom = len(steps)
        asked_s = time.monotonic()
        live.slow_down(False)
        time.sleep(1.2)
        often = len(steps) - seldom
        live.stop()
    assert seldom <= 1
    assert often >= 3
    assert steps[seldom] - asked_s < 0.2


def test_other_settings_name_anew_what_was_found_and_end_no_pass():
    tones = [note(55.0, 1.0, np.random.default_rng(1)), np.zeros(12_000)] * 2
    sound = both(around(0.4 * np.concatenate(tones))).astype(np.float32)
    settings = LowEndSettings(a4_hz=452.0, key="B♭ minor")
    source = FakeSource()
    with Engine(source) as engine:
        live = LiveLowEnd(engine)
        live.start()
        source.bring(sound[: len(sound) // 2])
        live.judge_by(settings)
        source.bring(sound[len(sound) // 2 :])
        source.end()
        told = live.take_ended()
        live.stop()
    assert told is not None
    assert [(one.note, one.is_in_key, round(one.cents, 6)) for one in told.sub_notes] == [
        (one.note, False, round(one.cents, 6)) for one in low_end_of(sound, settings).sub_notes
    ]
    assert len(told.sub_notes) == 2 and told.sub_notes[0].cents < -40.0
    assert live.numbered[0] == source.ring.number
