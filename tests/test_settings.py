"""Where settings, journal and logs are."""

from pathlib import Path

import platformdirs
import pytest

from meter.errors import SettingsError
from meter.settings import Folders, folders


def test_one_variable_moves_all_three_to_one_folder(monkeypatch, tmp_path):
    monkeypatch.setenv("LEADLINE_HOME", str(tmp_path / "mine"))
    mine = tmp_path / "mine"
    assert folders() == Folders(settings=mine, journal=mine, logs=mine)
    assert not mine.exists(), "asking where makes nothing"


@pytest.mark.parametrize("value", [None, "", "  "])
def test_without_it_they_are_the_platforms_own(monkeypatch, value):
    if value is None:
        monkeypatch.delenv("LEADLINE_HOME")
    else:
        monkeypatch.setenv("LEADLINE_HOME", value)
    assert folders() == Folders(
        settings=Path(platformdirs.user_config_dir("leadline", appauthor=False)),
        journal=Path(platformdirs.user_data_dir("leadline", appauthor=False)),
        logs=Path(platformdirs.user_log_dir("leadline", appauthor=False)),
    )


def test_a_short_path_is_made_whole(monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("LEADLINE_HOME", "here")
    assert folders().settings == tmp_path / "here"
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("USERPROFILE", str(tmp_path))
    monkeypatch.setenv("LEADLINE_HOME", "~/there")
    assert folders().settings == tmp_path / "there"


def test_what_is_no_folder_is_refused(monkeypatch, tmp_path):
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("LEADLINE_HOME", str(tmp_path / "file"))
    with pytest.raises(SettingsError, match=r"LEADLINE_HOME names .*file, which is no folder; name a folder"):
        folders()


def test_a_user_that_is_not_there_is_refused(monkeypatch):
    monkeypatch.setenv("LEADLINE_HOME", "~nobody-of-this-name/x")
    with pytest.raises(SettingsError, match="there is no such user; name a folder"):
        folders()
