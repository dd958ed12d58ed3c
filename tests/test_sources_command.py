"""`leadline sources`, in text and JSON, on machines that lack something."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from meter import sources_command
from meter.capture import listing
from meter.capture.records import SourceInfo
from tests.support.sound_server import PulseAudio

SOURCES = [
    SourceInfo(
        spec="system", name="what the system plays on Speakers", rate_hz=44_100, channels=2, is_default=True
    ),
    SourceInfo(spec="device:Mic", name="Mic", rate_hz=48_000, channels=1, is_default=True),
    SourceInfo(
        spec="device:Interface",
        name="Interface",
        rate_hz=96_000,
        channels=9,
        what_to_do="choose two of its 9 channels, for example --channels 1,2",
    ),
    SourceInfo(spec="device:NAME", name="inputs", why_not="PortAudio is missing", what_to_do="install it"),
    SourceInfo(spec="demo", name="the demo tune"),
]

TEXT = """\
what can be listened to:

  system
      what the system plays on Speakers · 44.1 kHz · stereo · taken when nothing is chosen
      A program that opens the sound device for itself alone goes past the system, and is not heard there.

  device:Mic
      Mic · 48 kHz · mono · the system's own choice of input

  device:Interface
      Interface · 96 kHz · 9 channels
      choose two of its 9 channels, for example --channels 1,2

  demo
      the demo tune

what cannot, why, and what to do:

  device:NAME  (inputs)
      PortAudio is missing
      -> install it
"""


def test_the_text_names_rates_defaults_and_what_to_do(monkeypatch, capsys):
    monkeypatch.setattr(listing, "list_sources", lambda: SOURCES)
    assert sources_command.run(False) == 0
    assert capsys.readouterr().out == TEXT


def test_where_nothing_is_missing_nothing_is_said_of_it():
    assert "what cannot" not in sources_command.text_of(SOURCES[:3])


def test_json_is_one_object_a_line_with_the_keys_of_all_output(monkeypatch, capsys):
    monkeypatch.setattr(listing, "list_sources", lambda: SOURCES)
    assert sources_command.run(True) == 0
    made = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert made[0] == {
        "type": "source",
        "spec": "system",
        "name": "what the system plays on Speakers",
        "sample_rate_hz": 44_100,
        "channels": 2,
        "is_default": True,
        "why_not": None,
        "what_to_do": None,
    }
    assert [one["why_not"] for one in made] == [None, None, None, "PortAudio is missing", None]


# --- the real thing, in a process of its own ---------------------------------------------------

WITHOUT = """
import sys
from tests.support.import_without import Refusal
sys.meta_path.insert(0, Refusal({refused!r}))
from meter import sources_command
sys.exit(sources_command.run(True))
"""


def sources(root: Path, env: dict[str, str], *refused: str) -> list[dict[str, object]]:
    done = subprocess.run(
        [sys.executable, "-c", WITHOUT.format(refused=refused)],
        cwd=root,
        env=env,
        capture_output=True,
        text=True,
    )
    assert (done.returncode, done.stderr) == (0, "")
    return [json.loads(line) for line in done.stdout.splitlines()]


@pytest.fixture
def no_server(tmp_path) -> dict[str, str]:
    import os

    return os.environ | {"PULSE_SERVER": f"unix:{tmp_path}/none", "HOME": str(tmp_path)}


@pytest.mark.parametrize(
    "refused", [("PyQt6", "pyqtgraph"), ("PyQt6", "sounddevice"), ("PyQt6", "sounddevice", "pulsectl")]
)
def test_it_works_without_a_server_without_portaudio_and_without_qt(root, no_server, refused):
    made = sources(root, no_server, *refused)
    by_spec = {one["spec"]: one for one in made}
    assert by_spec["system"]["why_not"].startswith("no sound server answers")
    assert by_spec["system"]["what_to_do"]
    if "sounddevice" in refused:
        assert by_spec["device:NAME"]["why_not"] == "PortAudio is missing, which hears the sound devices"
    for spec in ("file:PATH", "demo"):
        assert by_spec[spec]["why_not"] is None


@pytest.mark.packages("pulseaudio", "pulseaudio-utils")
def test_without_portaudio_the_system_is_still_there(root):
    with PulseAudio() as server:
        by_spec = {one["spec"]: one for one in sources(root, server.env, "PyQt6", "sounddevice")}
    assert by_spec["system"]["why_not"] is None
    assert by_spec["system"]["sample_rate_hz"] == 48_000


@pytest.mark.packages("pulseaudio", "pulseaudio-utils")
def test_a_server_that_stands_still_is_said_to_and_nothing_hangs(root):
    with PulseAudio() as server:
        server.freeze()
        by_spec = {one["spec"]: one for one in sources(root, server.env)}
        server.thaw()
    assert by_spec["system"]["why_not"] == "the sound server does not answer"
    assert by_spec["device:NAME"]["why_not"] == "the sound server does not answer"
