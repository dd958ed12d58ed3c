"""A program that is killed while it hears, at any moment: its journal opens, and 2 s are missing at most."""

import json
import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from meter.journal.closing import end_abandoned
from meter.journal.store import open_journal
from meter.journal.writers import is_running, this_writer

ROOT = Path(__file__).resolve().parents[2]

MOST_LOST_S = 2.0
"""Of wall clock, from issue "the set": what a kill may cost."""


def killed(folders, after_s):
    """Start a program for each folder and kill each so long after it began to hear; when, by the clock."""
    for folder in folders:
        folder.mkdir()
    command = [sys.executable, "-m", "tests.support.killed", *map(str, folders)]
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True) as program:
        numbers = json.loads(program.stdout.readline())
        began = [float(appears(folder / "began")) for folder in folders]
        moments = sorted(
            zip((b + s for b, s in zip(began, after_s, strict=True)), folders, numbers, strict=True)
        )
        ended = {}
        for at_unix_s, folder, number in moments:
            time.sleep(max(0.0, at_unix_s - time.time()))
            os.kill(number, signal.SIGKILL)
            ended[folder] = time.time()
    return [ended[folder] - b for folder, b in zip(folders, began, strict=True)]


def appears(path, seconds=30.0):
    """What is in a file, as soon as something is."""
    end_s = time.monotonic() + seconds
    while not (path.exists() and path.read_text()):
        assert time.monotonic() < end_s
        time.sleep(0.01)
    return path.read_text()


def lost_s(folder, heard_s):
    """How much of what was heard is missing in a journal, which must be whole and close its pass."""
    with open_journal(folder) as journal:
        assert journal.notes == []
        assert journal.rows_of("PRAGMA integrity_check") == [("ok",)]
        passes = journal.passes()
        if not passes:
            return heard_s
        (before,) = passes
        assert not journal.is_still_heard(before), "its program is gone, and that is known at once"
        assert len(end_abandoned(journal)) == 1
        (kept,) = journal.passes()
        assert kept.is_ended
        assert kept.is_broken_off
        assert kept.integrated_lufs is not None or kept.seconds < 0.5
        assert len(journal.rows(kept.number)) == kept.soundings
        return heard_s - kept.seconds


def check(tmp_path, after_s):
    folders = [tmp_path / str(number) for number in range(len(after_s))]
    heard = killed(folders, after_s)
    missing = [lost_s(folder, seconds) for folder, seconds in zip(folders, heard, strict=True)]
    assert max(missing) <= MOST_LOST_S, missing
    assert min(missing) > -0.2, missing  # what was not heard is not in it either
    return missing


def test_a_kill_at_a_random_moment_of_a_real_time_run_loses_two_seconds_at_most(tmp_path):
    check(tmp_path, [random.Random(seed).uniform(0.5, 5.0) for seed in range(5)])


@pytest.mark.long
@pytest.mark.parametrize("batch", range(5))
def test_fifty_kills_lose_two_seconds_at_most_each(tmp_path, batch):
    print(check(tmp_path, [random.Random(100 * batch + seed).uniform(0.2, 30.0) for seed in range(10)]))


def test_a_program_that_is_gone_is_known_to_be_gone_and_another_of_its_number_is_not_it():
    machine, number, began = this_writer().split(" ")
    assert is_running(this_writer())
    assert is_running(f"{machine} {number} {int(began) + 1}") is False
    with subprocess.Popen([sys.executable, "-c", ""]) as program:
        pass
    assert is_running(f"{machine} {program.pid} {began}") is False
    for unknown in (None, "", "elsewhere 1 -", f"{machine} ? -"):
        assert is_running(unknown) is None
