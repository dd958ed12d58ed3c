"""Loopback of Windows, on a stand-in for soundcard. It was not tried on Windows."""

from __future__ import annotations

import sys
import threading
import warnings
from types import SimpleNamespace

import numpy as np
import pytest

from meter.capture import portaudio, windows_loopback
from meter.capture.windows_loopback import WindowsLoopback
from meter.errors import SourceError
from tests.support.fake_sounddevice import FakeSound, device

WITHIN_S = 10.0


class FakeSoundcard:
    """Stands in for the module; notes which thread touched it."""

    def __init__(self) -> None:
        self.speaker_id = "speakers"
        self.threads: set[str] = set()
        self.asked: dict[str, object] = {}
        self.fails: Exception | None = None
        self.frames = 0
        self.is_open = False

    def default_speaker(self):
        self.threads.add(threading.current_thread().name)
        return SimpleNamespace(id=self.speaker_id)

    def get_microphone(self, id, include_loopback):
        self.asked |= {"id": id, "include_loopback": include_loopback}
        return SimpleNamespace(recorder=self.recorder)

    def recorder(self, samplerate, channels, blocksize):
        self.asked |= {"rate_hz": samplerate, "channels": channels, "queue_frames": blocksize}
        if self.fails is not None:
            raise self.fails
        return self

    def __enter__(self):
        self.is_open = True
        return self

    def __exit__(self, *_):
        self.is_open = False

    def record(self, numframes):
        if self.fails is not None:
            raise self.fails
        warnings.warn("data discontinuity in recording", RuntimeWarning, stacklevel=1)
        first, self.frames = self.frames, self.frames + numframes
        threading.Event().wait(0.001)
        channels = self.asked["channels"]
        return np.arange(first, self.frames, dtype=np.float32)[:, None] + np.arange(
            channels, dtype=np.float32
        )


@pytest.fixture(autouse=True)
def soundcard(monkeypatch) -> FakeSoundcard:
    made = FakeSoundcard()
    sound = FakeSound(
        device("Mic", host=0),
        device("Speakers", inputs=0, outputs=2, host=1, rate_hz=48_000.0),
        hosts=("MME", "Windows WASAPI"),
    )
    sound.default_output = 1
    monkeypatch.setitem(sys.modules, "soundcard", made)
    monkeypatch.setitem(sys.modules, "sounddevice", sound)
    monkeypatch.setattr(portaudio, "LIBRARY", portaudio._Library())
    return made


class Heard:
    def __init__(self, blocks: int = 5) -> None:
        self.blocks: list[tuple[np.ndarray, float]] = []
        self.is_enough = threading.Event()
        self._wanted = blocks

    def take(self, block: np.ndarray, captured_s: float) -> None:
        self.blocks.append((block.copy(), captured_s))
        if len(self.blocks) >= self._wanted:
            self.is_enough.set()


def test_the_default_output_is_heard_at_its_native_rate(soundcard):
    loopback, heard = WindowsLoopback(), Heard()
    info = loopback.open()
    assert (info.spec, info.name, info.rate_hz, info.channels) == ("system", "Speakers", 48_000, 2)
    loopback.start(heard.take)
    assert heard.is_enough.wait(WITHIN_S)
    assert soundcard.asked == {
        "id": "speakers",
        "include_loopback": True,
        "rate_hz": 48_000,
        "channels": 2,
        "queue_frames": 24_000,
    }
    joined = np.concatenate([block for block, _ in heard.blocks])
    assert np.array_equal(joined[:, 0], np.arange(len(joined)))
    assert np.array_equal(joined[:, 1], joined[:, 0] + 1.0)
    assert joined.dtype == np.float32
    loopback.close()
    assert not soundcard.is_open


def test_soundcard_is_touched_by_the_capture_thread_only(soundcard):
    loopback, heard = WindowsLoopback(), Heard()
    loopback.open()
    loopback.start(heard.take)
    assert heard.is_enough.wait(WITHIN_S)
    loopback.look()
    loopback.close()
    assert soundcard.threads == {"leadline-capture"}


def test_nothing_comes_before_start_and_after_close(soundcard):
    loopback, heard = WindowsLoopback(), Heard()
    loopback.open()
    assert soundcard.frames == 0
    loopback.start(heard.take)
    assert heard.is_enough.wait(WITHIN_S)
    assert loopback.is_alive()
    thread = loopback._thread._thread
    loopback.close()
    assert not thread.is_alive()
    assert not loopback.is_alive()


def test_another_default_output_is_a_move(soundcard, monkeypatch):
    monkeypatch.setattr(windows_loopback, "LOOK_EVERY_S", 0.0)
    loopback, heard = WindowsLoopback(), Heard()
    loopback.open()
    loopback.start(heard.take)
    assert heard.is_enough.wait(WITHIN_S)
    assert not loopback.look().has_moved
    soundcard.speaker_id = "headphones"
    later = Heard(len(heard.blocks) + 5)
    later.blocks = heard.blocks
    loopback._thread._on_block = later.take
    assert later.is_enough.wait(WITHIN_S)
    look = loopback.look()
    assert look.has_moved
    assert (look.volume_db, look.is_muted) == (None, None)
    loopback.close()


def test_an_output_that_goes_ends_the_stream(soundcard):
    loopback, heard = WindowsLoopback(), Heard()
    loopback.open()
    loopback.start(heard.take)
    assert heard.is_enough.wait(WITHIN_S)
    soundcard.fails = RuntimeError("Error 0x88890004")
    loopback._thread._thread.join(WITHIN_S)
    assert not loopback.is_alive()
    loopback.close()


def test_an_output_that_goes_while_it_is_opened_is_said_to_have_gone(soundcard):
    soundcard.fails = RuntimeError("Error 0x88890004")
    with pytest.raises(SourceError) as error:
        WindowsLoopback().open()
    assert str(error.value) == (
        "Speakers went away while it was being opened; is it still plugged in and switched on? "
        "leadline sources lists what is there"
    )


def test_no_output_is_said(soundcard):
    sys.modules["sounddevice"].devices = [device("Mic", host=0)]
    with pytest.raises(SourceError) as error:
        WindowsLoopback().open()
    assert str(error.value) == (
        "Windows has no output that is switched on; connect loudspeakers, headphones or an interface"
    )


def test_without_soundcard_that_is_said(monkeypatch):
    monkeypatch.setitem(sys.modules, "soundcard", None)
    with pytest.raises(SourceError) as error:
        WindowsLoopback().open()
    assert str(error.value) == (
        "the Python package soundcard is missing, through which the system is heard; install it with pip"
    )


def test_the_chosen_pair_is_heard(soundcard):
    sys.modules["sounddevice"].devices[1]["max_output_channels"] = 8
    with pytest.raises(SourceError, match="Speakers has 8 channels, and which of them are left and right"):
        WindowsLoopback().open()
    loopback, heard = WindowsLoopback((4, 3)), Heard()
    loopback.open()
    loopback.start(heard.take)
    assert heard.is_enough.wait(WITHIN_S)
    loopback.close()
    assert heard.blocks[0][0][0].tolist() == [3.0, 2.0]


def test_a_device_that_hangs_does_not_hang_the_program(soundcard, monkeypatch):
    monkeypatch.setattr(windows_loopback, "OPEN_WITHIN_S", 0.05)
    may_go = threading.Event()
    monkeypatch.setattr(soundcard, "default_speaker", lambda: may_go.wait() and SimpleNamespace(id="x"))
    with pytest.raises(SourceError, match="Speakers does not open, nor"):
        WindowsLoopback().open()
    may_go.set()
