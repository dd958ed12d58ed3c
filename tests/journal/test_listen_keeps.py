"""`leadline listen` keeps what it hears live, unless it is told not to."""

import json

import numpy as np
import pytest
import soundfile

from meter import listen_command
from meter.capture import open as capture_open
from meter.cli import main
from meter.journal.store import read_journal
from tests.support.fake_source import FakeSource


@pytest.fixture
def sound():
    return (np.random.default_rng(1).standard_normal((3 * 48_000, 2)) * 0.1).astype(np.float32)


@pytest.fixture
def played(sound, monkeypatch):
    """A machine that has played three seconds."""

    def opened(spec, *, channels=None):
        source = FakeSource(spec=spec, name="what the machine plays")
        source.bring(sound)
        source.end()
        return source

    monkeypatch.setattr(capture_open, "open_source", opened)


def lengths():
    with read_journal() as journal:
        return [len(journal.rows(kept.number)) for kept in journal.passes()]


@pytest.mark.usefixtures("played")
@pytest.mark.parametrize("form", [[], ["--json"]])
def test_what_is_heard_live_is_kept(form, capsys):
    assert main(["listen", *form]) == 0
    said = capsys.readouterr()
    assert lengths() == [30]
    assert said.err == ""
    if form:
        made = [json.loads(line) for line in said.out.splitlines()]
        assert [one["type"] for one in made] == ["sounding"] * 30 + ["summary"]
    assert main(["journal", "show", "1", "--json"]) == 0
    shown = json.loads(capsys.readouterr().out)
    if form:
        assert shown["integrated_lufs"] == made[-1]["integrated_lufs"]
        assert shown["true_peak_dbtp"] == made[-1]["true_peak_dbtp"]


@pytest.mark.usefixtures("played")
def test_with_no_journal_nothing_is_kept(leadline_home, capsys):
    assert main(["listen", "--no-journal"]) == 0
    assert list(leadline_home.iterdir()) == []


def test_a_file_that_is_listened_to_is_not_kept(sound, tmp_path, leadline_home, capsys):
    soundfile.write(tmp_path / "tune.wav", sound, 48_000)
    assert main(["listen", "--seconds", "0.5", "--source", f"file:{tmp_path / 'tune.wav'}"]) == 0
    assert list(leadline_home.iterdir()) == []


def test_a_set_is_kept_wherever_it_comes_from(sound, tmp_path, capsys):
    soundfile.write(tmp_path / "set.wav", sound[:72_000], 48_000)
    assert main(["listen", "--set", "--json", "--source", f"file:{tmp_path / 'set.wav'}"]) == 0
    heard = json.loads(capsys.readouterr().out.splitlines()[-1])
    assert main(["journal", "list", "--all", "--json"]) == 0
    (made,) = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert (made["pass"], made["set"], made["closed"], made["broken_off"]) == (1, True, True, False)
    assert made["source"] == f"file:{tmp_path / 'set.wav'}"
    assert made["seconds"] == pytest.approx(1.5)
    assert made["integrated_lufs"] == heard["integrated_lufs"]


def test_a_set_that_is_not_kept_makes_no_sense(capsys):
    assert main(["listen", "--set", "--no-journal"]) == 2
    assert "a set is what the journal keeps" in capsys.readouterr().err


@pytest.mark.usefixtures("played")
def test_a_journal_that_cannot_be_written_is_said_and_the_measuring_goes_on(tmp_path, monkeypatch, capsys):
    from meter.journal import writer

    monkeypatch.setattr(writer, "COMMIT_S", 0.02)
    monkeypatch.setattr(writer, "LAST_TRIES_S", 0.1)
    (tmp_path / "file").write_text("")
    monkeypatch.setattr(writer, "journal_path", lambda folder: tmp_path)
    real = writer.open_journal
    monkeypatch.setattr(writer, "open_journal", lambda folder, **how: real(tmp_path / "file" / "in", **how))
    assert main(["listen", "--json"]) == 0
    said = capsys.readouterr()
    assert [json.loads(line)["type"] for line in said.out.splitlines()][-1] == "summary"
    first, last = said.err.splitlines()
    assert "the journal cannot be opened" in first
    assert last.startswith("3.0 s of what was heard are not in the journal: ")


def test_the_help_says_what_is_kept(capsys):
    assert main(["listen", "--help"]) == 0
    said = capsys.readouterr().out
    assert "--no-journal" in said
    assert "without any audio" in said
    assert listen_command.EPILOG in said
