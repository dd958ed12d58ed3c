"""Encoders in a process of their own: the same results, an end at once, and a sentence when it crashes."""

from __future__ import annotations

import multiprocessing
import os
import signal

import pytest
import soundfile

from meter.delivery import apart
from meter.delivery.apart import CRASHED, Cancelled, encodes_apart
from meter.delivery.codecs import wishes_from
from tests.delivery.test_encoded import RATE_HZ, loud


@pytest.fixture
def master(tmp_path):
    path = str(tmp_path / "master.wav")
    soundfile.write(path, loud(1.2, 4), RATE_HZ)
    return path


def tried(name, *, tell=lambda words, share: None, is_cancelled=lambda: False, is_apart=True):
    return encodes_apart(
        name,
        wishes_from("opus:128,mp3:320"),
        ceiling_dbtp=0.0,
        integrated_lufs=-6.0,
        tell=tell,
        is_cancelled=is_cancelled,
        apart=is_apart,
    )


def test_it_says_the_same_apart_and_in_place_and_tells_how_far_it_is(master):
    told = []
    assert tried(master, tell=lambda *what: told.append(what)) == tried(master, is_apart=False)
    assert any("Opus 128 kb/s" in words and "MP3 320 kb/s" in words for words, _ in told)
    assert multiprocessing.active_children() == []


@pytest.mark.parametrize("is_apart", [True, False])
def test_cancelled_it_ends_at_once_and_nobody_stays(master, is_apart):
    told = []
    with pytest.raises(Cancelled):
        tried(
            master,
            tell=lambda *what: told.append(what),
            is_cancelled=lambda: bool(told),
            is_apart=is_apart,
        )
    assert multiprocessing.active_children() == []


def test_an_encoder_that_crashes_is_one_sentence(master):
    def crash(words, share):
        for child in multiprocessing.active_children():
            os.kill(child.pid, signal.SIGKILL)  # as far as anybody else can tell, a crash

    assert tried(master, tell=crash) == ([], [CRASHED])
    assert multiprocessing.active_children() == []


def test_a_file_that_is_none_is_one_sentence(tmp_path):
    encodes, (note,) = tried(str(tmp_path / "gone.wav"))
    assert encodes == []
    assert "gone.wav" in note


def test_too_little_memory_is_one_sentence(master, monkeypatch):
    def none(*_, **__):
        raise MemoryError

    monkeypatch.setattr(apart, "encodes_of", none)
    (note,) = tried(master, is_apart=False)[1]
    assert note.endswith("there is too little memory for all of it; try a part of it")
