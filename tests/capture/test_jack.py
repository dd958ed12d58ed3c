"""JACK's process on stand-ins; JACK itself is heard in test_machine.py."""

from __future__ import annotations

import json
import os
import sys
import threading

import numpy as np
import pytest

from meter.capture import jack
from meter.capture.jack import JackBackend, JackInput
from meter.errors import SourceError

WITHIN_S = 20.0

HEARS = """
import json, struct, sys, time
import numpy as np
out = sys.stdout.buffer
out.write(json.dumps({"rate_hz": 48000}).encode() + b"\\n")
for block in range(5):
    frames = np.arange(12, dtype=np.float32).reshape(4, 3) + 12 * block
    out.write(struct.pack("<Id", 4, 1.0 + block) + frames.tobytes())
out.flush()
"""

THEN_WAITS = HEARS + "sys.stdin.read()"


@pytest.fixture
def child(monkeypatch):
    """Lets a program stand in for the one that hears JACK."""
    asked = []

    def becomes(program: str) -> list[tuple[str, ...]]:
        def command(*arguments: str):
            asked.append(arguments)
            return [sys.executable, "-c", program], dict(os.environ)

        monkeypatch.setattr(jack, "_command", command)
        monkeypatch.setattr(jack, "may_run", lambda: True)
        return asked

    return becomes


def backend(pair=None, channels: int = 2) -> JackBackend:
    return JackBackend("device:player", "player", channels, pair)


def heard(opened: JackBackend, blocks: int = 5) -> list[tuple[np.ndarray, float]]:
    got, is_enough = [], threading.Event()

    def take(block, captured_s):
        got.append((np.array(block), captured_s))
        if len(got) == blocks:
            is_enough.set()

    opened.start(take)
    assert is_enough.wait(WITHIN_S)
    return got


def test_blocks_come_with_their_times(child):
    asked = child(THEN_WAITS)
    opened = backend((1, 3), channels=3)
    info = opened.open()
    assert (info.name, info.rate_hz, info.channels) == ("player (JACK)", 48_000, 2)
    got = heard(opened)
    assert asked == [("hear", "player", "3")]
    assert got[1][0].tolist() == [[12.0, 14.0], [15.0, 17.0], [18.0, 20.0], [21.0, 23.0]]
    assert [captured_s for _, captured_s in got] == [1.0, 2.0, 3.0, 4.0, 5.0]
    assert opened.is_alive()
    opened.close()
    opened.close()
    assert not opened.is_alive()


def test_a_process_that_ended_is_not_alive(child):
    child(HEARS)
    opened = backend((1, 3), channels=3)
    opened.open()
    heard(opened)
    opened._child._thread.join(WITHIN_S)
    assert not opened.is_alive()
    opened.close()


def test_an_input_that_is_not_there_is_named(child):
    child('print(\'{"error": "it is not there"}\')')
    with pytest.raises(SourceError) as error:
        backend().open()
    assert str(error.value) == ("player (JACK) is not there; start it again, and JACK if that ended too")


def test_a_process_that_dies_at_once_is_no_traceback(child):
    child("import os; os.abort()")
    with pytest.raises(SourceError, match=r"player \(JACK\) is not there"):
        backend().open()


def test_a_jack_that_does_not_answer_does_not_hang_the_program(child, monkeypatch):
    monkeypatch.setattr(jack, "ANSWER_WITHIN_S", 0.2)
    child("import time; time.sleep(60)")
    with pytest.raises(SourceError, match=r"player \(JACK\) does not open, nor does it say why"):
        backend().open()


def test_of_many_channels_a_pair_must_be_chosen():
    with pytest.raises(SourceError, match="player has 9 channels, and which of them are left and right"):
        backend(channels=9)


def test_the_inputs_are_those_that_the_process_lists(child):
    made = {"devices": [{"index": 1, "name": "player", "channels": 2, "rate_hz": 48_000.0}]}
    child(f"print({json.dumps(json.dumps(made))})")
    assert jack.inputs() == (JackInput(name="player", channels=2, rate_hz=48_000),)


@pytest.mark.parametrize("program", ["print('no JSON')", "print('{}')", "import os; os.abort()"])
def test_a_process_that_lists_nothing_makes_no_list_fail(child, program):
    child(program)
    assert jack.inputs() == ()


def test_where_no_jack_runs_no_process_is_started(monkeypatch):
    monkeypatch.setenv("JACK_DEFAULT_SERVER", "none-of-this-name")
    monkeypatch.setattr(jack, "_command", lambda *arguments: pytest.fail("a process was started"))
    assert jack.inputs() == ()


def test_the_process_is_let_take_leave_of_jack(child, tmp_path):
    child(THEN_WAITS + f"; open({str(tmp_path / 'left')!r}, 'w').close()")
    opened = backend((1, 3), channels=3)
    opened.open()
    heard(opened)
    opened.close()
    assert (tmp_path / "left").exists()


def test_a_process_that_hangs_in_jack_is_ended(child, monkeypatch):
    monkeypatch.setattr(jack, "FAREWELL_S", 0.1)
    child(HEARS + "time.sleep(60)")
    opened = backend((1, 3), channels=3)
    opened.open()
    heard(opened)
    process = opened._child._process
    opened.close()
    assert process.returncode < 0
