"""The low end in a process of its own: the same bits, and no process is left behind."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest
import soundfile

import demo_signals
from meter import forked

PROGRAM = """
import multiprocessing, os, sys
from meter import check, forked
from meter.low_end.settings import LowEndSettings

forked.is_possible = lambda: True  # on one core too
made = []
whole = forked.Forked.__init__
def noted(self, *rest, name):
    whole(self, *rest, name=name)
    made.append(name)
forked.Forked.__init__ = noted
options = dict(low_end=LowEndSettings(), keep_soundings=True)
two, one = (check.check_file(sys.argv[1], check.Options(beside=way, **options)) for way in (True, False))
a, b = two.low_end, one.low_end
assert made == ["looks at the low end", "measures true peak and low bands"]
assert two.soundings.tobytes() == one.soundings.tobytes()
assert len(a.sub_notes) > 20 and a.kicks.count > 20
assert (a.sub_notes, a.unpitched, a.tuning_cents) == (b.sub_notes, b.unpitched, b.tuning_cents)
assert a.kicks == b.kicks
assert (a.mono.powers == b.mono.powers).all() and (a.mono.at_s == b.mono.at_s).all()
assert two.findings == one.findings and two.summary == one.summary
assert multiprocessing.active_children() == []
"""


@pytest.fixture(scope="module")
def tune(tmp_path_factory):
    path = tmp_path_factory.mktemp("tune") / "tune.wav"
    drop = demo_signals.render()[40 * 48_000 : 100 * 48_000]
    sound = np.clip(drop, -1.0, 1.0).astype(np.float32)
    sound[20 * 48_000 + 7] = np.nan  # a block that is kept out
    soundfile.write(path, sound, 48_000, subtype="FLOAT")
    return path


def test_a_process_of_its_own_finds_the_same_to_the_bit_and_ends(tune):
    subprocess.run([sys.executable, "-c", PROGRAM, str(tune)], check=True, timeout=120)


@pytest.mark.parametrize("where", ["beside._tell", "side._answer"])
@pytest.mark.parametrize(
    ("what", "said"),
    [
        ("os.kill(os.getpid(), 9)", "ended from outside (exit status -9), as happens when memory runs out"),
        ("raise ValueError('odd')", "failed: ValueError('odd')); please report this"),
    ],
)
def test_a_process_that_dies_or_fails_is_told_in_a_sentence(tune, where, what, said):
    program = (
        "import os, sys\n"
        "from meter import check, forked\n"
        "from meter.dsp import side\n"
        "from meter.low_end import beside\n"
        "from meter.low_end.settings import LowEndSettings\n"
        "def fail(*given):\n"
        f"    {what}\n"
        f"{where} = fail\n"
        "forked.is_possible = lambda: True\n"
        "done = check.check_one(sys.argv[1], check.Options(low_end=LowEndSettings()))\n"
        "print(done.message)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program, str(tune)], check=True, timeout=120, capture_output=True, text=True
    )
    assert said in done.stdout and done.stdout.count("\n") == 1


def test_nobody_stays_when_the_file_is_given_up(tune):
    program = (
        "import multiprocessing, sys\n"
        "from meter import check, forked\n"
        "from meter.low_end.settings import LowEndSettings\n"
        "forked.is_possible = lambda: True\n"
        "def give_up(done_s, whole_s):\n"
        "    assert len(multiprocessing.active_children()) == 2\n"
        "    raise KeyboardInterrupt\n"
        "try:\n"
        "    check.check_one(sys.argv[1], check.Options(low_end=LowEndSettings()), progress=give_up)\n"
        "except KeyboardInterrupt:\n"
        "    assert multiprocessing.active_children() == []\n"
        "    print('gone')\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program, str(tune)], check=True, timeout=120, capture_output=True, text=True
    )
    assert done.stdout == "gone\n", done.stderr


def test_it_is_made_only_by_a_process_of_one_thread_with_a_core_to_spare(monkeypatch):
    monkeypatch.setattr(forked.threading, "active_count", lambda: 1)
    monkeypatch.setattr(forked.os, "sched_getaffinity", lambda process: {0, 1})
    assert forked.is_possible()
    monkeypatch.setattr(forked.threading, "active_count", lambda: 2)
    assert not forked.is_possible()
    monkeypatch.setattr(forked.threading, "active_count", lambda: 1)
    monkeypatch.setattr(forked.os, "sched_getaffinity", lambda process: {0})
    assert not forked.is_possible()
