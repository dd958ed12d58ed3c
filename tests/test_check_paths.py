"""Which files are meant by what a user names."""

import os

import pytest

from meter.check_paths import find_files


@pytest.fixture
def crate(tmp_path):
    for name in (
        "b.wav", "a.FLAC", "cover.jpg", "notes.txt", ".hidden.wav", "10/x.m4a", "10/y.mkv", "2/z.mp3",
        ".cache/deep.wav", "2/.DS",
    ):  # fmt: skip
        path = tmp_path / "crate" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.touch()
    return tmp_path / "crate"


def test_a_folder_stands_for_the_audio_in_it_sorted(crate):
    found = find_files([str(crate)])
    names = [os.path.relpath(name, crate) for name in found.names]
    inner = [os.path.join(*parts) for parts in (("10", "x.m4a"), ("10", "y.mkv"), ("2", "z.mp3"))]
    assert names == [*inner, "a.FLAC", "b.wav"]
    assert found.notes == (f"{crate}: left out 2 that are no audio and 3 hidden",)


def test_what_is_named_is_taken_whatever_it_is(crate):
    names = [str(crate / name) for name in ("notes.txt", ".hidden.wav", "none.wav", "b.wav", "b.wav")]
    assert find_files(names).names == tuple(names)
    assert find_files(names).notes == ()


def test_a_folder_without_audio_says_so(tmp_path):
    (tmp_path / "a.txt").touch()
    found = find_files([str(tmp_path)])
    assert found.names == ()
    assert found.notes == (
        f"{tmp_path}: there is no audio file in this folder",
        f"{tmp_path}: left out 1 that are no audio",
    )


def test_a_folder_that_cannot_be_read_says_so(crate, monkeypatch):
    real = os.scandir

    def refuse(path):
        if str(path).endswith("10"):
            raise PermissionError(13, "Permission denied", str(path))
        return real(path)

    monkeypatch.setattr(os, "scandir", refuse)  # the tests may run as one who may read all
    found = find_files([str(crate)])
    assert len(found.names) == 3
    assert f"{crate / '10'}: this folder cannot be read and was left out" in found.notes


def test_a_ring_of_links_has_an_end(crate):
    (crate / "2" / "again").symlink_to(crate, target_is_directory=True)
    assert len(find_files([str(crate)]).names) == 5


def test_the_order_of_the_paths_is_kept(crate):
    found = find_files([str(crate / "b.wav"), str(crate / "2")])
    assert found.names == (str(crate / "b.wav"), str(crate / "2" / "z.mp3"))
