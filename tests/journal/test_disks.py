"""A disk that fills up, or can suddenly only be read, in the middle of a set: nothing written is lost.

Each test mounts a small file system in memory, which takes a root who may do that: therefore they are
among the long ones. `test_writer.py` does the same with a journal of few pages.
"""

import shutil
import subprocess
import time
from contextlib import contextmanager, suppress

import pytest

from meter.journal import writer
from meter.journal.store import open_journal, read_journal
from meter.journal.writer import JournalWriter
from tests.journal.rows import heard_rows, live_pass

pytestmark = pytest.mark.long

ROWS = heard_rows(120.0)


@contextmanager
def small_disk(path, kilobytes):
    """A file system of so many kB, as long as it is needed."""
    path.mkdir()
    how = ["mount", "-t", "tmpfs", "-o", f"size={kilobytes}k,mode=0700", "tmpfs", str(path)]
    subprocess.run(how, check=True)
    try:
        yield path
    finally:
        subprocess.run(["umount", "--lazy", str(path)], check=True)


def is_remounted(path, how):
    """Whether the file system could be mounted in another way; not while a file is open for writing."""
    command = ["mount", "-o", f"remount,{how}", str(path)]
    return subprocess.run(command, check=False, capture_output=True).returncode == 0


def remounted(path, how):
    assert is_remounted(path, how)


@pytest.fixture
def quickly(monkeypatch):
    monkeypatch.setattr(writer, "COMMIT_S", 0.05)
    monkeypatch.setattr(writer, "LONGEST_PAUSE", 4)


def until(true, seconds=20.0):
    end_s = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end_s
        time.sleep(0.005)


class Hearing:
    """A set that is heard, some soundings at a time."""

    def __init__(self, folder):
        self.said, self.handed = [], 0
        self.keeper = JournalWriter(folder, on_problem=self.said.append, is_set=True)
        self.keeper.start()
        self.one = live_pass()

    def hear(self, count):
        rows = ROWS[self.handed : self.handed + count]
        self.one.add(rows, is_withheld=False)
        self.keeper.take(rows, self.one)
        self.handed += count

    def end(self):
        self.keeper.end_pass(self.one)
        return self.keeper.stop()


def kept_rows(folder):
    with read_journal(folder) as journal:
        return [journal.rows(kept.number).tobytes() for kept in journal.passes()]


def is_whole(folder):
    with open_journal(folder) as journal:
        return journal.rows_of("PRAGMA integrity_check") == [("ok",)]


def filled(disk):
    """A file that takes all the room there is."""
    filler = disk / "something large"
    with filler.open("wb", buffering=0) as file, suppress(OSError):
        while True:
            file.write(bytes(512))
    assert shutil.disk_usage(disk).free == 0
    return filler


def hear_until_it_is_said(heard):
    """What is in the write-ahead log already may be written over; that takes some seconds at most."""
    while not heard.said:
        assert heard.handed < len(ROWS)
        heard.hear(10)
        time.sleep(0.03)


def test_a_disk_that_is_full_in_mid_set_costs_nothing_once_there_is_room(quickly, tmp_path):
    with small_disk(tmp_path / "disk", 1024) as disk:
        heard = Hearing(disk)
        heard.hear(200)
        until(lambda: kept_rows(disk) == [ROWS[:200].tobytes()])
        filler = filled(disk)
        hear_until_it_is_said(heard)
        assert len(heard.said) == 1
        assert str(disk) in heard.said[0]
        for _ in range(20):
            heard.hear(10)
            time.sleep(0.01)
        assert len(heard.said) == 1, "once is enough"
        with read_journal(disk) as journal:
            written = journal.kept_pass(1).soundings
            assert written >= 200
            assert journal.rows(1).tobytes() == ROWS[:written].tobytes(), "what was written is there"
        filler.unlink()
        until(lambda: len(heard.said) == 2)
        assert heard.said[1] == "the journal is written again; what was heard meanwhile is in it"
        assert heard.end() is None
        assert kept_rows(disk) == [ROWS[: heard.handed].tobytes()]
        assert is_whole(disk)


def test_a_disk_that_can_only_be_read_costs_nothing_once_it_can_be_written(quickly, tmp_path):
    with small_disk(tmp_path / "disk", 4096) as disk:
        remounted(disk, "ro")
        heard = Hearing(disk)
        heard.hear(300)
        until(lambda: heard.said)
        remounted(disk, "rw")
        until(lambda: len(heard.said) == 2)
        assert heard.end() is None
        assert kept_rows(disk) == [ROWS[:300].tobytes()]
        assert is_whole(disk)


def test_a_disk_that_is_full_and_then_read_only_in_mid_set_costs_nothing_either(quickly, tmp_path):
    with small_disk(tmp_path / "disk", 1024) as disk:
        heard = Hearing(disk)
        heard.hear(200)
        until(lambda: kept_rows(disk) == [ROWS[:200].tobytes()])
        filled(disk)
        hear_until_it_is_said(heard)
        # A file system cannot be made read-only as long as a file in it is open for writing; the writer
        # closes its own when it cannot write.
        until(lambda: is_remounted(disk, "ro,size=8m"))
        for _ in range(10):
            heard.hear(10)
            time.sleep(0.05)
        assert len(heard.said) == 1, "once is enough, whatever else is wrong"
        remounted(disk, "rw")
        until(lambda: len(heard.said) == 2)
        assert heard.end() is None
        assert kept_rows(disk) == [ROWS[: heard.handed].tobytes()]
        assert is_whole(disk)
