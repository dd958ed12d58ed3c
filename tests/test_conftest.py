"""The rules of conftest.py, tried on a small suite of their own."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest

from tests.conftest import is_put_off
from tests.support import debian

SUITE = '''
import os
from pathlib import Path

import pytest


def test_has_a_home_of_its_own():
    assert not list(Path(os.environ["LEADLINE_HOME"]).iterdir())


@pytest.mark.long
def test_takes_minutes():
    pass


def test_hears_music(music):
    pass


@pytest.mark.packages("pulseaudio")
def test_needs_a_server():
    pass
'''


@pytest.fixture
def run_suite(tmp_path: Path, root: Path):
    """Runs pytest on a copy of conftest.py beside a test file; `tools` stand in for PATH."""

    def run(suite: str, *arguments: str, tools: dict[str, str]) -> subprocess.CompletedProcess[str]:
        for name in ("pyproject.toml", "tests/conftest.py", "tests/packages.txt", "tests/support/debian.py"):
            copy = tmp_path / "project" / name
            copy.parent.mkdir(parents=True, exist_ok=True)
            copy.write_text((root / name).read_text("utf-8"), "utf-8")
        (tmp_path / "project/tests/test_small.py").write_text(suite, "utf-8")
        for name, text in tools.items():
            tool = tmp_path / "bin" / name
            tool.parent.mkdir(exist_ok=True)
            tool.write_text(f"#!/bin/sh\n{text}\n", "utf-8")
            tool.chmod(0o755)
        environment = os.environ | {
            "PATH": str(tmp_path / "bin"),
            "LEADLINE_NOT_RUN": str(tmp_path / "not-run"),
            "LEADLINE_HOME": str(tmp_path / "nobody's"),
        }
        return subprocess.run(
            [sys.executable, "-m", "pytest", "-p", "no:cacheprovider", *arguments],
            cwd=tmp_path / "project",
            env=environment,
            capture_output=True,
            text=True,
        )

    return run


NOTHING_INSTALLED = {"dpkg-query": "exit 1", "apt-get": "exit 1"}


def test_a_missing_package_fails_with_its_name_and_what_to_type(run_suite):
    done = run_suite(SUITE, tools=NOTHING_INSTALLED)
    assert done.returncode == 1
    assert "1 passed, 1 deselected, 2 errors" in done.stdout
    assert "Debian package missing: pulseaudio; type: apt-get install" in done.stdout
    assert "Debian package missing: hyperrogue-music" in done.stdout


def test_off_debian_what_needs_packages_is_listed_and_not_run(run_suite, tmp_path):
    done = run_suite(SUITE, tools={})
    assert done.returncode == 0
    assert "1 passed, 3 deselected" in done.stdout
    assert "not run: they need Debian packages" in done.stdout
    listed = (tmp_path / "not-run").read_text().split()
    assert listed == ["tests/test_small.py::test_hears_music", "tests/test_small.py::test_needs_a_server"]


def test_long_tests_run_when_asked_for(run_suite):
    assert "2 passed, 2 deselected" in run_suite(SUITE, "--long", tools={}).stdout


@pytest.mark.parametrize("processes", [(), ("-n", "2")])
def test_what_waits_for_real_sound_runs_apart_from_the_rest(run_suite, tmp_path, processes):
    suite = SUITE + """

@pytest.mark.realtime
@pytest.mark.packages("pulseaudio")
def test_waits():
    pass
"""
    done = run_suite(suite, "--only", "rest", *processes, tools={})
    assert "1 passed" in done.stdout
    done = run_suite(suite, "--only", "realtime", *processes, tools={})
    assert "passed" not in done.stdout
    # Each part has told what it could not run, and no more.
    assert (tmp_path / "not-run").read_text().split() == [
        "tests/test_small.py::test_hears_music",
        "tests/test_small.py::test_needs_a_server",
        "tests/test_small.py::test_waits",
    ]


@pytest.mark.parametrize(
    "suite",
    [
        "import pytest\n\n\ndef test_shy():\n    pytest.skip('not today')\n",
        "import pytest\n\npytest.importorskip('no_such_module')\n",
    ],
    ids=["a test", "a file"],
)
def test_a_skip_is_a_failure(run_suite, suite):
    done = run_suite(suite, tools={})
    assert done.returncode != 0
    assert "skipped itself" in done.stdout


@pytest.mark.parametrize(
    ("path", "marks", "part"),
    [
        ("tests/test_chain.py", set(), "rest"),
        ("tests/test_chain.py", {"realtime"}, "realtime"),
        ("tests/capture/test_machine.py", set(), "realtime"),
        ("tests/capture/test_loss_clock.py", {"anytime"}, "rest"),
    ],
)
def test_every_test_is_in_one_of_the_two_parts(root, path, marks, part):
    item = SimpleNamespace(path=root / path, get_closest_marker=lambda name: name if name in marks else None)
    parts = [one for one in ("rest", "realtime") if not is_put_off(item, long=False, only=one)]
    assert parts == [part]
    assert not is_put_off(item, long=False, only=None)


def test_an_unlisted_package_is_refused():
    with pytest.raises(AssertionError, match=r"no-such-package: write it in tests/packages\.txt"):
        debian.missing(["no-such-package"])


def test_every_listed_package_has_its_reason():
    assert debian.listed()
    assert [name for name, reason in debian.listed().items() if not reason] == []
    assert debian.music_packages()


def test_music_is_real_files_with_enough_whole_pieces(music):
    import soundfile

    assert sum(soundfile.info(path).duration >= 60 for path in music) >= 10
