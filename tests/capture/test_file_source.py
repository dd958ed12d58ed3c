"""Files and the demo tune as sources. Every frame is held to the file read whole by libsndfile."""

import random
import threading
import time
from dataclasses import dataclass, field

import numpy as np
import pytest
import soundfile

import demo_signals
from meter.capture.file_source import DemoSource, FileSource, PlayedSource
from meter.capture.records import SourceInfo, SourceStatus
from meter.errors import AudioFileError

RATE_HZ = 44_100


@dataclass
class SlowPace:
    """Time that passes only by waiting; each wait lasts longer than asked, as in real life."""

    time_s: float = 500.0
    late_s: float = 0.004
    rng: random.Random = field(default_factory=lambda: random.Random(1))
    stalls_s: dict[int, float] = field(default_factory=dict)
    waits: int = 0
    is_over: threading.Event = field(default_factory=threading.Event)

    def now_s(self):
        return self.time_s

    def wait(self, seconds):
        self.waits += 1
        if seconds > 0.0:
            self.time_s += seconds + self.rng.uniform(0.0, self.late_s)
        self.time_s += self.stalls_s.get(self.waits, 0.0)
        return self.is_over.is_set()

    def stop(self):
        self.is_over.set()


class Zeros(PlayedSource):
    """So many seconds of silence, without a file; keeps when each block came."""

    def __init__(self, seconds, **how):
        self.seconds = seconds
        self.came = []
        super().__init__(SourceInfo(spec="zeros", name="zeros"), **how)

    def _open(self):
        return SourceInfo(spec="zeros", name="zeros", rate_hz=RATE_HZ, channels=2)

    def _blocks(self, seconds):
        block = np.zeros((round(seconds * RATE_HZ), 2), np.float32)
        for count in range(round(self.seconds / seconds)):
            yield block
            # Here the block before this one has been written.
            self.came.append((self._pace.now_s(), (count + 1) * seconds))


def noise(seconds=3.0, channels=2, seed=1):
    return (0.1 * np.random.default_rng(seed).standard_normal((round(seconds * RATE_HZ), channels))).astype(
        np.float32
    )


@pytest.fixture
def path(tmp_path):
    path = tmp_path / "a piece.wav"
    soundfile.write(path, noise(), RATE_HZ, subtype="FLOAT")
    return path


def wait_for_end(source, *, at_most_s=60.0):
    end_s = time.monotonic() + at_most_s
    while source.state().status is not SourceStatus.ENDED:
        assert time.monotonic() < end_s
        time.sleep(0.001)


def read_to_end(source, reader):
    parts, lost = [], 0
    while True:
        has_ended = source.state().status is SourceStatus.ENDED
        chunk = reader.read(8_000)
        lost += chunk.lost_before
        parts.append(chunk.frames)
        if not len(chunk.frames):
            if has_ended:
                return np.concatenate(parts), lost
            time.sleep(0.001)


# --- as fast as it goes ----------------------------------------------------------------------


def test_as_fast_as_it_goes_every_frame_comes_once(tmp_path):
    samples = noise(seconds=65.0)  # more than four times round the ring
    path = tmp_path / "long.wav"
    soundfile.write(path, samples, RATE_HZ, subtype="FLOAT")
    source = FileSource(path, as_fast=True)
    source.start()
    reader = source.ring.reader(from_now=False)
    source.needs(reader)
    heard, lost = read_to_end(source, reader)
    np.testing.assert_array_equal(heard, samples)
    assert lost == 0
    state = source.state()
    assert (state.sentence, state.lost_frames, state.epoch) == (None, 0, 0)
    assert state.info == SourceInfo(spec=f"file:{path}", name="long.wav", rate_hz=RATE_HZ, channels=2)


def test_it_waits_for_a_reader_that_comes_late_and_for_the_slowest(tmp_path):
    path = tmp_path / "long.wav"
    samples = noise(seconds=40.0)
    soundfile.write(path, samples, RATE_HZ, subtype="FLOAT")
    source = FileSource(path, as_fast=True)
    source.start()
    end_s = time.monotonic() + 20.0
    while source.ring.written < 15 * RATE_HZ:
        assert time.monotonic() < end_s
        time.sleep(0.001)
    time.sleep(0.02)
    assert source.ring.written == 15 * RATE_HZ  # full, and nobody has come
    slow, quick = source.ring.reader(from_now=False), source.ring.reader(from_now=False)
    source.needs(slow)
    source.needs(quick)
    while len(quick.read(100_000).frames):
        pass
    time.sleep(0.02)
    assert source.ring.written == 15 * RATE_HZ
    done = threading.Thread(target=lambda: read_to_end(source, quick))
    done.start()
    heard, lost = read_to_end(source, slow)
    done.join()
    np.testing.assert_array_equal(heard, samples)
    assert lost == quick.lost_frames == 0


def test_stop_ends_it_while_it_waits_for_a_reader():
    source = Zeros(60.0, as_fast=True)
    source.start()
    source.stop()
    source.stop()
    assert source.state().status is SourceStatus.ENDED
    assert not [thread for thread in threading.enumerate() if thread.name == "leadline zeros"]


# --- in real time ----------------------------------------------------------------------------


def play(seconds, **pace):
    source = Zeros(seconds, pace=SlowPace(**pace))
    source.start()
    wait_for_end(source)
    return np.array(source.came).T


def test_an_hour_in_real_time_does_not_drift():
    came_s, due_s = play(3600.0)
    late_s = came_s - 500.0 - due_s
    assert late_s.min() >= -1e-6  # nothing comes before it would have been captured
    assert late_s.max() <= 0.004 + 1e-6
    assert len(due_s) == 3600 * 20


def test_a_short_stall_is_made_up_for_and_a_long_one_moves_what_comes():
    came_s, due_s = play(60.0, stalls_s={200: 0.6, 600: 8.0})
    late_s = came_s - 500.0 - due_s
    assert late_s[:199].max() < 0.005
    assert late_s[220:590].max() < 0.005
    assert late_s[610:].min() > 7.9
    assert late_s[610:].max() < 8.1
    assert np.diff(came_s)[605:].min() > 0.04  # no burst that would run over a reader


def test_in_real_time_it_waits_for_a_reader_that_must_not_lose_anything():
    class ClosedGate(SlowPace):
        gate = threading.Event()

        def wait(self, seconds):
            self.gate.wait(30.0)
            return super().wait(seconds)

    pace = ClosedGate()
    source = Zeros(40.0, pace=pace)
    source.start()
    reader = source.ring.reader(from_now=False)
    source.needs(reader)
    pace.gate.set()
    end_s = time.monotonic() + 20.0
    while source.ring.written + 2205 <= source.ring.capacity_frames:
        assert time.monotonic() < end_s
        time.sleep(0.001)
    heard, lost = read_to_end(source, reader)
    assert (len(heard), lost) == (40 * RATE_HZ, 0)


def test_real_time_is_real_time(path):
    source = FileSource(path)
    reader = None
    start_s = time.monotonic()
    source.start()
    reader = source.ring.reader(from_now=False)
    heard, lost = read_to_end(source, reader)
    assert time.monotonic() - start_s >= 3.0  # never early; how late depends on the machine
    np.testing.assert_array_equal(heard, noise())
    assert lost == 0


def test_stop_ends_it_in_the_middle(path):
    source = FileSource(path)
    source.start()
    source.stop()
    written = source.ring.written
    assert source.state().status is SourceStatus.ENDED
    assert written < 3 * RATE_HZ
    time.sleep(0.1)
    assert source.ring.written == written


def test_stop_without_start_ends_it(path):
    source = FileSource(path)
    source.stop()
    assert source.state().status is SourceStatus.ENDED


# --- what kind of file -----------------------------------------------------------------------


def test_a_pair_is_heard_alone(tmp_path):
    path = tmp_path / "nine.wav"
    samples = noise(channels=9)
    soundfile.write(path, samples, RATE_HZ, subtype="FLOAT")
    source = FileSource(path, as_fast=True, pair=(3, 9))
    source.start()
    heard, _ = read_to_end(source, source.ring.reader(from_now=False))
    np.testing.assert_array_equal(heard, samples[:, [2, 8]])
    assert source.state().info.channels == 2


def test_the_weights_of_a_surround_file_are_handed_on(tmp_path):
    path = tmp_path / "surround.wav"
    soundfile.write(path, noise(channels=6), RATE_HZ, format="WAVEX", subtype="FLOAT")
    source = FileSource(path, as_fast=True)
    assert source.weights is None
    source.start()
    assert len(source.weights) == 6
    source.stop()


@pytest.mark.parametrize(
    ("name", "how", "error", "sentence"),
    [
        ("none.wav", {}, AudioFileError, r"none\.wav: there is no such file"),
        ("nine.wav", {}, AudioFileError, r"has 9 channels, at most 6 .* --channels 1,2"),
        ("nine.wav", {"pair": (1, 10)}, AudioFileError, r"--channels 1,10 was asked for, but .* 9 channels"),
    ],
)
def test_a_file_that_cannot_be_played_is_refused_in_one_sentence(tmp_path, name, how, error, sentence):
    soundfile.write(tmp_path / "nine.wav", noise(channels=9, seconds=0.1), RATE_HZ)
    source = FileSource(tmp_path / name, **how)
    with pytest.raises(error, match=sentence):
        source.start()


def test_a_file_that_is_cut_short_ends_with_the_reason_and_counts_what_is_missing(path):
    data = path.read_bytes()
    path.write_bytes(data[: len(data) - 8 * RATE_HZ])  # a second of stereo float32
    source = FileSource(path, as_fast=True)
    source.start()
    heard, lost = read_to_end(source, source.ring.reader(from_now=False))
    np.testing.assert_array_equal(heard, noise()[: len(heard)])
    state = source.state()
    assert (lost, state.lost_frames) == (0, 3 * RATE_HZ - len(heard))
    assert "the header promises" in state.sentence


def test_a_file_without_a_frame_ends_with_the_reason(tmp_path):
    path = tmp_path / "empty.wav"
    soundfile.write(path, noise()[:0], RATE_HZ)
    source = FileSource(path, as_fast=True)
    source.start()
    wait_for_end(source)
    assert "not one frame of audio follows" in source.state().sentence


def test_what_breaks_while_playing_is_logged_and_said(caplog):
    class Breaks(Zeros):
        def _blocks(self, seconds):
            raise RuntimeError("no such thing")

    source = Breaks(1.0)
    source.start()
    wait_for_end(source)
    assert source.state().sentence == "zeros cannot be played on (no such thing)"
    assert "please report this" in caplog.text


# --- the demo --------------------------------------------------------------------------------


@pytest.mark.anytime
def test_the_demo_tune_is_played_whole():
    source = DemoSource(as_fast=True)
    source.start()
    state = source.state()
    assert (source.ring.rate_hz, source.ring.channels, state.info.spec) == (48_000, 2, "demo")
    reader = source.ring.reader(from_now=False)
    source.needs(reader)
    heard, lost = read_to_end(source, reader)
    np.testing.assert_array_equal(heard, demo_signals.render())
    assert lost == 0
    assert source.state().sentence is None


def test_while_the_demo_tune_is_made_that_is_said():
    source = DemoSource()
    state = source.state()
    assert (state.status, state.sentence) == (SourceStatus.OPENING, None)
    source._open()
    assert source.state().sentence == "the demo tune is being made; that takes some seconds"
