"""`leadline shelf` from its arguments to what it prints."""

import json

import pytest

from meter.cli import main
from tests.shelf.sounds import tune, write


@pytest.fixture
def files(tmp_path):
    return [str(write(tmp_path / f"{name}.wav", tune(4.0, seed=seed))) for seed, name in enumerate("abc")]


def test_files_are_kept_listed_compared_taken_away_and_brought_back(files, capsys):
    assert main(["shelf", "add", *files[:2]]) == 0
    assert capsys.readouterr().out == "kept as 'a'\nkept as 'b'\n2 on the shelf\n"
    assert main(["shelf", "add", files[2], "--name", "mine"]) == 0
    capsys.readouterr()
    assert main(["shelf"]) == 0
    assert [line.split()[0] for line in capsys.readouterr().out.splitlines()[2:]] == ["a", "b", "mine"]
    assert main(["shelf", "compare", files[2]]) == 0
    assert "against your 3 references, equally loud" in capsys.readouterr().out
    assert main(["shelf", "compare", files[0], "--with", "mine", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["references"] == ["mine"]
    assert main(["shelf", "remove", "a", "mine"]) == 0
    assert main(["shelf", "--json"]) == 0
    listed = capsys.readouterr().out.splitlines()[1:]
    assert [json.loads(line)["name"] for line in listed] == ["b"]
    assert main(["shelf", "list", "--json"]) == 0
    assert capsys.readouterr().out.splitlines() == listed
    assert main(["shelf", "undo"]) == 0
    assert main(["shelf", "undo"]) == 0
    assert capsys.readouterr().out == "back on the shelf: a, mine\nthere is nothing to bring back\n"


def test_one_bad_file_does_not_stop_the_rest(files, tmp_path, capsys):
    bad = tmp_path / "text.wav"
    bad.write_text("no audio at all")
    assert main(["shelf", "add", str(bad), files[0], files[0]]) == 2
    said = capsys.readouterr()
    assert said.out == "kept as 'a'\n1 on the shelf\n"
    first, second = said.err.splitlines()
    assert first.startswith(f"error: {bad}")
    assert second.startswith("error: there is a reference named 'a' on the shelf already")


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["compare", "a.wav"], "there is no reference on the shelf; add one"),
        (["compare", "a.wav", "--with", "x"], "there is no reference named 'x' on the shelf"),
        (["remove", "x"], "there is no reference named 'x' on the shelf"),
        (["add", "a.wav", "b.wav", "--name", "x"], "--name came with 2 files"),
    ],
)
def test_what_cannot_be_meant_is_one_sentence(arguments, message, capsys):
    assert main(["shelf", *arguments]) == 2
    said = capsys.readouterr()
    assert said.err.startswith(f"error: {message}")
    assert said.out == ""


def test_help_says_what_is_kept(capsys):
    assert main(["shelf", "--help"]) == 0
    said = capsys.readouterr().out
    assert "never audio" in said
    assert "7 days" in said
