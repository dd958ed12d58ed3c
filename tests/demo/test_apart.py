"""The demo tune made in another process."""

from __future__ import annotations

import subprocess
import sys
import tempfile

import numpy as np
import pytest

import demo_signals
from demo_signals import apart, mixdown


@pytest.mark.long
def test_another_process_makes_the_same_bits():
    with tempfile.TemporaryFile() as file:
        assert apart.made_into(file)
        file.seek(0)
        found = np.frombuffer(file.read(), np.float32).reshape(-1, 2)
    assert np.array_equal(found, demo_signals.render())


def test_where_none_can_be_started_it_says_so_and_the_tune_is_made_here(monkeypatch):
    monkeypatch.setattr(sys, "executable", "/no such place/python")
    with tempfile.TemporaryFile() as file:
        assert not apart.made_into(file)
    tune = np.zeros((mixdown.frames(), 2), np.float32)
    tune[7] = 0.5
    monkeypatch.setattr(mixdown, "made", lambda: tune)
    mixdown._kept.cache_clear()
    kept = mixdown._kept()
    mixdown._kept.cache_clear()
    assert np.array_equal(kept.read(5, 4), tune[5:9])


def test_one_that_breaks_off_is_not_taken_for_the_tune(monkeypatch, tmp_path):
    half = tmp_path / "python"
    half.write_text("#!/bin/sh\nprintf 'half a tune'\n")
    half.chmod(0o755)
    monkeypatch.setattr(sys, "executable", str(half))
    with tempfile.TemporaryFile() as file:
        assert not apart.made_into(file)


def test_it_ends_when_the_one_that_started_it_does():
    with tempfile.TemporaryFile() as file:
        made = subprocess.Popen(
            [sys.executable, "-m", "demo_signals.apart"], stdin=subprocess.PIPE, stdout=file, cwd=apart.FOLDER
        )
        made.stdin.close()  # what the system does when a process ends
        assert made.wait(60) == 1
