import pytest

from meter import cli
from meter.settings import TARGETS_FILE, folders
from ui import app, entry
from ui.screen_check import NoWindow
from ui.state import FILE_NAME


@pytest.fixture
def opened(monkeypatch):
    """What the window was opened with; it stays open for no time."""
    calls = []

    def run(source_spec, target_name, *, paths=(), keeps=True):
        calls.append((source_spec, target_name, *paths, *([] if keeps else ["keeps nothing"])))
        return 0

    monkeypatch.setattr(app, "run", run)
    return calls


@pytest.fixture
def no_screen(monkeypatch):
    def run(source_spec, target_name, **how):
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


@pytest.mark.parametrize("command", [[], ["window"]])
def test_files_and_folders_are_opened_in_the_window(opened, command, tmp_path):
    folder = tmp_path / "crate"
    folder.mkdir()
    assert entry.main([*command, str(folder), "not there.wav"]) == 0
    assert entry.main([*command, "--no-journal", "a.wav"]) == 0
    assert opened == [(None, None, str(folder), "not there.wav"), (None, None, "a.wav", "keeps nothing")]


def test_what_is_wrong_with_both_files_of_settings_is_told(qapp, monkeypatch):
    settings = folders().settings
    (settings / FILE_NAME).write_text("theme = 'pink'\n", "utf-8")
    (settings / TARGETS_FILE).write_text("nonsense", "utf-8")
    told = []

    def live(_, conductor, spec, paths, problems):
        conductor.begin = conductor.desk.opener.measure = lambda *what, **how: None
        app.begin(conductor, spec, paths, problems)
        assert not conductor.window.message.isHidden()
        told.append(conductor.window.message.label.text())
        conductor.quit()
        return 0

    monkeypatch.setattr(app, "why_no_window", lambda: None)
    monkeypatch.setattr(app, "_application", lambda: qapp)
    monkeypatch.setattr(app.log, "start", lambda: None)
    monkeypatch.setattr(app.sys, "setswitchinterval", lambda seconds: None)
    monkeypatch.setattr(app, "_live", live)
    assert app.run(paths=["tune.wav"]) == 0
    (said,) = told
    assert f"{FILE_NAME} was not used" in said and f"\n{settings / TARGETS_FILE} is not used" in said


def test_a_mistyped_command_is_told_and_opens_nothing(opened, capsys):
    assert entry.main(["lisent"]) == 2
    assert "invalid choice: 'lisent'" in capsys.readouterr().err and opened == []


def test_a_folder_named_like_a_command_hides_none(opened, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "check").mkdir()
    assert entry.main(["check"]) == 2, "the command check was meant, and wants a path"
    assert entry.main(["./check"]) == 0 and opened == [(None, None, "./check")]


def test_every_command_is_known_when_a_path_is_looked_for():
    parser = cli.build_parser(None)
    (commands,) = (one.choices for one in parser._actions if isinstance(one.choices, dict))
    assert set(commands) == set(cli.COMMANDS)


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
