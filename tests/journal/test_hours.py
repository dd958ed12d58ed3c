"""Eight hours through the real engine, faster than they sound: memory, room on the disk, one hour alone."""

import json
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from meter.journal.replay import pass_again, timeline_of
from meter.journal.store import open_journal, read_journal
from meter.journal.text import line_text
from meter.tunes.store import PassTunes
from tests.journal.rows import any_rows, start

ROOT = Path(__file__).resolve().parents[2]
HOUR_ROWS = 36_000


def test_a_part_of_a_pass_is_read_without_the_rest():
    rows = any_rows(3, 3000)
    with open_journal() as journal:
        number = journal.begin_pass(start())
        for part in np.split(rows, [10, 700, 2950]):
            journal.add_rows(number, part)
        for first, stop in (
            (0, 3000),
            (5, 12),
            (599, 601),
            (700, 2950),
            (2990, 9000),
            (3000, 3001),
            (40, 40),
        ):
            assert journal.rows(number, first, stop).tobytes() == rows[first:stop].tobytes()
        assert journal.rows(number, 2999).tobytes() == rows[2999:].tobytes()
        lengths = [row[0] for row in journal.rows_of("SELECT rows FROM soundings")]
        assert max(lengths) < 1200, "no blob is so long that an hour could not be read alone"


@pytest.mark.long
def test_eight_hours_take_little_memory_and_room_and_any_hour_opens_at_once(tmp_path):
    command = [sys.executable, "-m", "tests.support.hours", str(tmp_path), "8"]
    ran = subprocess.run(command, cwd=ROOT, stdout=subprocess.PIPE, text=True, check=True)
    *every, last = [json.loads(line) for line in ran.stdout.splitlines()]
    half_an_hour = next(one["mb"] for one in every if one["at_s"] >= 1800.0)
    grown_mb = max(one["mb"] for one in every) - half_an_hour
    size_mb = sum(path.stat().st_size for path in tmp_path.iterdir()) / 1e6
    print(
        f"memory {half_an_hour:.1f} MB after half an hour, grown by {grown_mb:.1f}; journal {size_mb:.1f} MB"
    )
    print(last)
    assert last["rows"] == 8 * HOUR_ROWS
    assert (last["lost_frames"], last["unkept"], last["said"]) == (0, None, [])
    assert grown_mb < 30.0
    assert size_mb <= 60.0
    with read_journal(tmp_path) as journal:
        (kept,) = journal.passes()
        assert kept.has_numbers
        opened_s = []
        for hour in range(8):
            began_s = time.perf_counter()
            part = journal.rows(kept.number, hour * HOUR_ROWS, (hour + 1) * HOUR_ROWS)
            timeline_of(pass_again(kept.start, part, number=1))
            opened_s.append(time.perf_counter() - began_s)
            assert len(part) == HOUR_ROWS
        began_s = time.perf_counter()
        PassTunes(journal, kept).listed()
        print(
            "an hour opens in",
            [round(s, 2) for s in opened_s],
            "s; its tunes in",
            time.perf_counter() - began_s,
        )
        assert "8:00:00" in line_text(kept)
