import pytest
from hypothesis import given
from hypothesis import strategies as st

from meter.errors import SettingsError
from ui.state import BPM_RANGE, THEMES, VIEWS, Choices, StateFile, as_toml, parse

TEXT = st.text(
    st.characters(exclude_categories=("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp", "Zs")), max_size=40
)


@given(
    source=TEXT,
    target=TEXT,
    theme=st.sampled_from(THEMES),
    view=st.sampled_from(VIEWS),
    large=st.booleans(),
    compact=st.booleans(),
    bpm=st.one_of(st.just(0.0), st.floats(*BPM_RANGE)),
    downbeat_s=st.floats(0.0, 3600.0),
    geometry=st.binary(max_size=60).map(bytes.hex),
)
def test_what_is_written_is_read_again(**chosen):
    choices = Choices(**chosen)
    assert parse(as_toml(choices).encode()) == choices


def test_what_is_remembered_is_there_the_next_time(leadline_home):
    state = StateFile()
    assert state.choices == Choices() and state.problem is None
    state.remember(source="file:/a/b.wav", bpm=174.0)
    state.save()
    assert StateFile().choices == Choices(source="file:/a/b.wav", bpm=174.0)


def test_nothing_is_written_when_nothing_has_changed(leadline_home):
    StateFile().save()
    assert list(leadline_home.iterdir()) == []


def test_all_problems_are_named_at_once():
    text = 'thme = "dark"\nbpm = 20\nlarge = "yes"\nview = "all"\n'
    with pytest.raises(SettingsError) as caught:
        parse(text.encode())
    said = str(caught.value)
    assert "unknown key 'thme'; did you mean 'theme'?" in said
    assert "bpm = 20: expected 0 for none, or 40 to 300 beats a minute" in said
    assert "large = yes: expected true or false" in said
    assert 'view = all: expected one of "60 s", "10 min", "pass", "session"' in said


def test_a_broken_file_is_set_aside_and_said_and_never_overwritten(leadline_home):
    path = leadline_home / "window.toml"
    for k in (1, 2):
        path.write_text(f"this is number {k}")
        state = StateFile()
        assert state.choices == Choices()
        assert state.problem is not None
        assert state.problem.startswith(
            f"{path} was not used and is now window.unused-{k}.toml: it is no TOML"
        )
        state.remember(theme="dark")
        state.save()
        assert (leadline_home / f"window.unused-{k}.toml").read_text() == f"this is number {k}"
    assert StateFile().choices.theme == "dark"


def test_a_file_of_a_newer_program_is_set_aside(leadline_home):
    (leadline_home / "window.toml").write_text('schema = 2\nsource = "x"\n')
    state = StateFile()
    assert "schema = 2 came, this version of the program knows 1" in str(state.problem)
    assert (leadline_home / "window.unused-1.toml").exists()


@pytest.mark.parametrize("data", [b"\xff\xfe", b"a = [" * 5000, b"x" * 200_000, b"bpm = 1e400", b"bpm = nan"])
def test_no_bytes_end_the_program(leadline_home, data):
    (leadline_home / "window.toml").write_bytes(data)
    state = StateFile()
    assert state.choices == Choices() and state.problem is not None and "\n" not in state.problem


def test_a_folder_that_cannot_be_written_is_said_once_and_ends_nothing(leadline_home):
    (leadline_home / "window.toml.new").mkdir()
    state = StateFile()
    state.remember(theme="dark")
    state.save()
    assert state.problem is not None and "cannot be written" in state.problem
    state.remember(theme="light")
    state.save()
    assert not (leadline_home / "window.toml").exists()


def test_a_home_that_is_no_folder_leaves_the_window_with_what_it_knows(tmp_path, monkeypatch):
    file = tmp_path / "file"
    file.write_text("")
    monkeypatch.setenv("LEADLINE_HOME", str(file))
    state = StateFile()
    assert state.choices == Choices() and "nothing is remembered this time" in str(state.problem)
