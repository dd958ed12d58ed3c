"""`leadline listen --serve` as a whole: from the arguments to the page, and what it costs when it is off."""

import os
import re
import signal
import subprocess
import sys

import numpy as np
import pytest
import soundfile

from meter.capture.open import open_source
from meter.capture.records import SourceStatus
from meter.cli import main
from meter.listening import Listening
from meter.second_screen import server
from meter.second_screen.address import bind
from meter.second_screen.server import MOST_CLIENTS, SecondScreen
from tests.second_screen.moments import CLUB, noise
from tests.second_screen.visitors import Visitor, wait_until
from tests.support.fake_source import FakeSource, PacedSource
from tests.test_listen_command import ROOT, started

URL = re.compile(r"second screen: http://(127\.0\.0\.1:(\d+))/#([\w-]{22})\n")


@pytest.fixture(scope="module")
def tune(tmp_path_factory):
    """Twenty seconds of noise."""
    path = tmp_path_factory.mktemp("tunes") / "tune.wav"
    soundfile.write(path, noise(20.0), 48_000, subtype="FLOAT")
    return str(path)


# --- arguments


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--host", "127.0.0.1"], "--host came without --serve; give both, or leave it out"),
        (["--port", "8080"], "--port came without --serve; give both, or leave it out"),
        (["--serve", "--port", "x"], "--port x came; expected a number from 0 to 65535"),
        (["--serve", "--host", "booth"], "--host booth came; expected an address of this machine"),
        (["--serve", "--host", "0.0.0.0"], "--host 0.0.0.0 came, which is no single machine"),
        (["--serve", "--source", "file:gone.wav"], "gone.wav"),
    ],
)
def test_what_cannot_be_meant_is_one_sentence_and_status_2(arguments, message, capsys):
    assert main(["listen", *arguments]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert message in said.err
    assert said.err.startswith("error: ") and said.err.count("\n") == 1


def test_a_page_and_objects_do_not_go_together(capsys):
    assert main(["listen", "--serve", "--json"]) == 2
    assert "--serve came with --json" in capsys.readouterr().out


def test_a_port_that_is_taken_is_told_before_the_source_is_opened(capsys):
    taken = bind()
    with taken.socket:
        assert main(["listen", "--source", "file:gone.wav", "--serve", "--port", str(taken.port)]) == 2
    assert "another program uses it" in capsys.readouterr().err


def test_the_help_tells_of_it(capsys):
    main(["listen", "--help"])
    said = capsys.readouterr().out
    assert "--serve" in said and "--host ADDRESS" in said and "--port N" in said and "not encrypted" in said


# --- what it costs when it is off


def test_without_it_nothing_of_it_is_imported(tune):
    program = (
        "import sys; from meter.cli import main; "
        f"main(['listen', '--source', 'file:{tune}', '--seconds', '0.3']); "
        "off = ('meter.second_screen', 'http.', 'asyncio'); "
        "print([name for name in sys.modules if name.startswith(off)])"
    )
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    done = subprocess.run(
        [sys.executable, "-c", program], cwd=ROOT, env=environment, capture_output=True, text=True, check=True
    )
    assert done.stdout.splitlines()[-1] == "[]"


def test_without_it_and_without_a_set_nothing_is_watched():
    listener = Listening(FakeSource())
    assert listener._watch is None and listener._engine._on_soundings is None


# --- a whole run


def test_a_run_is_seen_on_the_page_and_ctrl_c_ends_both(tune):
    process = started("listen", "--source", f"file:{tune}", "--target", "club", "--serve")
    said = process.stderr.readline()
    host, port, key = URL.fullmatch(said).groups()
    assert process.stderr.readline() == "  not encrypted: who listens in on the network can read it\n"
    assert process.stderr.readline().startswith("  only this machine reaches it; for a phone ")
    with Visitor(int(port)) as visitor:
        visitor.ask("/events", host=host, Authorization=f"Bearer {key}")
        assert visitor.head()[0] == 200
        while (seen := visitor.event())["tiles"]["true_peak"]["value"] == "--":
            pass
        assert seen["source"].startswith("tune.wav · 0:0") and seen["notice"] == ""
        process.send_signal(signal.SIGINT)
        while not (seen := visitor.event())["is_over"]:
            pass
    out, err = process.communicate()
    assert (process.returncode, err) == (0, "")
    assert "Not inside Club" in out
    assert key not in out


def test_a_run_without_a_set_is_told_as_none_in_the_terminal(capsys):
    source = FakeSource()
    source.bring(np.concatenate([noise(1.0), 20.0 * noise(0.5)]))
    source.end()

    def make(**how):
        return SecondScreen(address=bind(), **how)

    listener = Listening(source, target=CLUB, second_screen=make)
    listener.run()
    said = capsys.readouterr()
    assert "Over in" not in said.out and "second screen: http://127.0.0.1:" in said.err
    assert listener._now().of_set is None
    assert listener._now_of_set().of_set.overs > 0
    assert not listener._second_screen._thread.is_alive()


def test_a_source_that_is_lost_is_told_on_the_page():
    source = FakeSource()
    listener = Listening(source, second_screen=lambda **how: SecondScreen(address=bind(), **how))
    listener._second_screen.start()
    listener._engine.start()
    try:
        screen = listener._second_screen
        with Visitor(screen._address.port) as visitor:
            visitor.ask("/events", host=screen._address.authority, Authorization=f"Bearer {screen.key}")
            visitor.head()
            source.bring(noise(0.5))
            source.become(status=SourceStatus.LOST, sentence="it has gone")
            while (seen := visitor.event())["notice"] != "Lost the source":
                pass
            assert seen["sentence"] == "it has gone"
    finally:
        listener._engine.stop()
        listener._second_screen.stop()


@pytest.mark.realtime
@pytest.mark.parametrize("kind", ["live", "file"])
def test_fifty_who_look_and_slow_ones_among_them_cost_the_engine_no_frame(kind, tune, monkeypatch):
    monkeypatch.setattr(server, "SEND_S", 0.5)
    monkeypatch.setattr(server, "EVERY_S", 0.02)  # far more often than it is: slow ones are let go soon
    source = PacedSource(noise(2.0)) if kind == "live" else open_source(f"file:{tune}")
    listener = Listening(source, second_screen=lambda **how: SecondScreen(address=bind(), **how))
    screen = listener._second_screen
    listener._engine.start()
    screen.start()
    port, host = screen._address.port, screen._address.authority
    visitors = [Visitor(port, receive_bytes=2048 if number < 10 else None) for number in range(MOST_CLIENTS)]
    try:
        for visitor in visitors:
            visitor.ask("/events", host=host, Authorization=f"Bearer {screen.key}").head()
        wait_until(lambda: screen.clients == MOST_CLIENTS, "all look")
        while screen.clients > MOST_CLIENTS - 10:
            for visitor in visitors[10:]:
                visitor.event()
        now = listener._engine.now
        assert now.is_heard and now.reading.at_s > 0.5
        assert now.reading.lost_frames == 0
        assert listener._engine.now.state.lost_frames == 0
    finally:
        for visitor in visitors:
            visitor.__exit__()
        listener._engine.stop()
        screen.stop()
