"""Passes to tell in a report: hours of a set with jumps, overs and a gap, and one that was broken off.

``python -m tests.support.report_samples FOLDER`` writes every form of the report of each, and of a checked
master, into a folder, to be looked at.
"""

from __future__ import annotations

import os
import sys
from functools import lru_cache
from pathlib import Path

import numpy as np
import soundfile

import demo_signals
from meter.chain import Chain
from meter.journal.records import LOST, KeptGap, PassStart
from meter.journal.store import open_journal
from meter.soundings import AFTER_GAP, BEFORE_GAP
from meter.tunes.store import PassTunes

RATE_HZ = 48_000
BEGAN_UNIX_S = 1_600_000_000.0
STEPS_DB = (0.0, -1.6, 0.2, 2.4, 0.0, -3.1, 2.0, 0.3, -0.2, 1.8, -1.5, 0.0)
NAMES = ("", "An invented tune with a name that is rather long (the second mix of it)", "", "Slow water")
LOST_FRAMES = 110_250


@lru_cache(maxsize=1)
def _tune_rows():
    """The soundings of the demo's tune."""
    chain = Chain(rate_hz=RATE_HZ, channels=2)
    sound = demo_signals.render()
    assert demo_signals.RATE_HZ == RATE_HZ
    return np.concatenate([chain.process(sound), chain.flush()])[:-1]


def louder(rows, gain_db):
    """The soundings of the same sound, so much louder."""
    made, gain = rows.copy(), 10.0 ** (gain_db / 20.0)
    for name in ("k_power", "momentary_max", "short_term_max", "ll", "rr", "lr"):
        made[name] *= gain**2
    for name in ("true_peak", "sample_peak", "dc"):
        made[name] *= gain
    is_over = made["true_peak"].max(axis=1) > 1.0
    made["overs"] = is_over & ~np.concatenate([[False], is_over[:-1]])
    return made


def set_rows(hours):
    """Soundings of a set, and the seconds after which frames were lost."""
    tune, parts, level_db = _tune_rows(), [], -1.0
    count = max(round(hours * 36_000 / len(tune)), 1)
    for number in range(count):
        level_db += STEPS_DB[number % len(STEPS_DB)]
        parts.append(louder(tune, level_db))
    rows = np.concatenate(parts)
    rows["start_frame"] = np.arange(len(rows)) * np.int64(RATE_HZ // 10)
    lost = len(rows) * 2 // 5
    rows["start_frame"][lost:] += LOST_FRAMES
    rows["flags"][lost - 1] |= BEFORE_GAP
    rows["flags"][lost] |= AFTER_GAP
    return rows, lost / 10.0


def kept_set(hours, *, is_ended=True):
    """A set in the journal; its number."""
    rows, lost_s = set_rows(hours)
    with open_journal(clock=lambda: BEGAN_UNIX_S + 100_000.0) as journal:
        start = PassStart(
            began_unix_s=BEGAN_UNIX_S,
            spec="system",
            name="the output of the mixer",
            rate_hz=RATE_HZ,
            channels=2,
            weights=(1.0, 1.0),
            crossover_hz=120.0,
            over_limit_dbtp=0.0,
            is_set=True,
        )
        number = journal.begin_pass(start)
        journal.add_rows(number, rows, gaps=[KeptGap(at_s=lost_s, frames=LOST_FRAMES, kind=LOST)])
        if is_ended:
            journal.mark_ended(number)
    return number


def master(folder):
    """An audio file of the demo's tune."""
    path = Path(folder) / "a master with quite a long name, version 12.wav"
    soundfile.write(path, demo_signals.render(), RATE_HZ, subtype="PCM_24")
    return path


def main() -> None:
    """Write them."""
    folder = Path(sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    os.environ["LEADLINE_HOME"] = str(folder / "home")
    whole, broken = kept_set(4.0), kept_set(1.2, is_ended=False)
    for number, name in enumerate(NAMES, 1):
        if name:
            with open_journal() as journal:
                PassTunes(journal, journal.kept_pass(whole)).name(number, name)
    from ui.entry import main as leadline

    told = {"set": str(whole), "broken": str(broken), "master": str(master(folder))}
    for name, what in told.items():
        for ending in ("html", "png", "csv", "json"):
            to = str(folder / f"{name}.{ending}")
            leadline(["report", what, "--to", to, "--target", "club", "--force"])


if __name__ == "__main__":
    main()
