"""From how a source is written to the source."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from meter.capture import offers
from meter.capture.file_source import DemoSource, FileSource
from meter.capture.live_source import LiveSource
from meter.capture.open import open_source
from meter.errors import MeterError, SourceError
from tests.support.fake_backend import FakeBackend, World
from tests.support.hearing import write_float


@pytest.fixture
def file(tmp_path) -> Path:
    return write_float(tmp_path / "a tune.wav", np.zeros((4800, 4), np.float32), 48_000)


def test_the_system_is_a_live_source(monkeypatch):
    asked = []
    monkeypatch.setattr(offers, "system_backend", lambda pair: asked.append(pair) or FakeBackend(World()))
    source = open_source("system", channels=(3, 4))
    assert isinstance(source, LiveSource)
    assert source.state().info.spec == "system"
    assert asked == [(3, 4)]


def test_a_device_is_asked_for_by_what_was_typed(monkeypatch):
    def find(typed):
        raise SourceError(f"asked for {typed}")

    monkeypatch.setattr(offers, "find_device", find)
    with pytest.raises(SourceError, match=r"asked for Mic: left$"):
        open_source("device:Mic: left")


def test_a_file_is_played_with_the_chosen_pair(file):
    source = open_source(f"file:{file}", channels=(3, 4), as_fast=True)
    assert isinstance(source, FileSource)
    source.start()
    assert source.state().info.channels == 2
    source.stop()


def test_a_file_that_is_not_there_is_one_sentence(tmp_path):
    with pytest.raises(MeterError, match="no such file"):
        open_source(f"file:{tmp_path}/none.wav").start()


def test_the_demo_has_no_pairs_to_choose():
    assert isinstance(open_source("demo", as_fast=True), DemoSource)
    with pytest.raises(SourceError, match="the demo has 2 channels; leave --channels away"):
        open_source("demo", channels=(3, 4))


EXPECTED = "expected system, device:NAME, file:PATH or demo"


@pytest.mark.parametrize(
    ("spec", "sentence"),
    [
        ("systam", f'"systam" came as the source; {EXPECTED}; did you mean system?'),
        ("System", f'"System" came as the source; {EXPECTED}; did you mean system?'),
        (
            "dev:Mic",
            f'"dev:Mic" came as the source; {EXPECTED}; did you mean device:Mic?',
        ),
        ("devise:Mic", f'"devise:Mic" came as the source; {EXPECTED}; did you mean device:Mic?'),
        ("device", f'"device" came as the source; {EXPECTED}; did you mean device:NAME?'),
        ("file:", f'"file:" came as the source; {EXPECTED}; did you mean file:PATH?'),
        ("Mic", f'"Mic" came as the source; {EXPECTED}; for an input of this name write device:Mic'),
    ],
)
def test_a_misspelt_source_is_told_how_to_be_written(spec, sentence):
    with pytest.raises(SourceError) as error:
        open_source(spec)
    assert str(error.value) == sentence


def test_a_bare_path_is_told_how_to_be_written(file):
    with pytest.raises(SourceError) as error:
        open_source(str(file))
    assert str(error.value) == f'"{file}" came as the source; {EXPECTED}; for this file write file:{file}'
