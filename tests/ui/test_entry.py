import pytest

from meter import cli
from ui import app, entry
from ui.screen_check import NoWindow


@pytest.fixture
def opened(monkeypatch):
    """What the window was opened with; it stays open for no time."""
    calls = []

    def run(source_spec, target_name):
        calls.append((source_spec, target_name))
        return 0

    monkeypatch.setattr(app, "run", run)
    return calls


@pytest.fixture
def no_screen(monkeypatch):
    def run(source_spec, target_name):
        raise NoWindow("no window can be shown: there is no display")

    monkeypatch.setattr(app, "run", run)


@pytest.fixture
def listened(monkeypatch):
    """What was listened to as text."""
    calls = []
    monkeypatch.setattr(
        "meter.listen_command._listen", lambda spec, **how: calls.append((spec, how["as_json"])) or 0
    )
    return calls


def test_without_a_command_the_window_opens_as_it_was(opened):
    assert entry.main([]) == 0
    assert opened == [(None, None)]


def test_the_command_window_says_what_to_listen_to(opened):
    assert entry.main(["window", "--source", "file:a.wav", "--target", "club"]) == 0
    assert opened == [("file:a.wav", "club")]


def test_the_demo_opens_the_window_where_one_can_be_shown(opened, listened):
    assert entry.main(["demo"]) == 0
    assert opened == [("demo", "club")] and listened == []


@pytest.mark.parametrize("option", [["--no-window"], ["--json"], ["--seconds", "3"]])
def test_the_demo_is_text_when_it_is_asked_to_be(opened, listened, option):
    assert entry.main(["demo", *option]) == 0
    assert opened == [] and listened == [("demo", option == ["--json"])]


def test_the_demo_is_text_where_no_window_can_be_shown(no_screen, listened, capsys):
    assert entry.main(["demo"]) == 0
    assert listened == [("demo", False)]
    assert capsys.readouterr().err == "no window can be shown: there is no display\n"


def test_without_a_screen_the_window_is_one_sentence_and_status_2(no_screen, capsys):
    assert entry.main([]) == 2
    assert capsys.readouterr().err == "no window can be shown: there is no display\n"


def test_the_command_line_alone_knows_no_window(capsys, listened):
    assert cli.main([]) == 0
    assert "usage:" in capsys.readouterr().out
    assert cli.main(["window"]) == 2
    assert "start it with leadline" in capsys.readouterr().err
    assert cli.main(["demo"]) == 0
    assert listened == [("demo", False)]


def test_a_target_that_is_not_there_is_said_before_any_window(monkeypatch, capsys):
    monkeypatch.setenv("QT_QPA_PLATFORM", "offscreen")
    assert entry.main(["window", "--target", "clubb"]) == 2
    assert "there is no target 'clubb'; did you mean 'club'?" in capsys.readouterr().err


def test_a_font_that_is_missing_is_one_sentence(monkeypatch, capsys):
    monkeypatch.setenv("QT_QPA_PLATFORM", "offscreen")
    monkeypatch.setattr("ui.fonts.why_missing", lambda: "the window's font is not complete")
    assert entry.main([]) == 2
    assert capsys.readouterr().err == "the window's font is not complete\n"
