"""The built wheel in an empty environment, used from another folder: what a user installs."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

NOT_SOURCE = shutil.ignore_patterns(
    ".git", ".venv*", "build", "dist", "*.egg-info", "__pycache__", ".hypothesis", ".*_cache"
)


def run(*command: object, cwd: Path) -> subprocess.CompletedProcess[str]:
    # Nothing of the environment that runs the tests may reach the one under test.
    environment = {name: value for name, value in os.environ.items() if not name.startswith("PYTHON")}
    return subprocess.run(
        [str(part) for part in command], cwd=cwd, env=environment, capture_output=True, text=True
    )


def run_well(*command: object, cwd: Path) -> str:
    done = run(*command, cwd=cwd)
    assert done.returncode == 0, f"{done.args}:\n{done.stdout}\n{done.stderr}"
    return done.stdout


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder far from the checkout."""
    return tmp_path_factory.mktemp("far away")


@pytest.fixture(scope="module")
def wheel(folder: Path, root: Path) -> Path:
    """The wheel, built from a copy: a build in the checkout would leave its own traces there."""
    source = shutil.copytree(root, folder / "source", ignore=NOT_SOURCE)
    run_well(sys.executable, "-m", "build", "--wheel", "--outdir", folder, source, cwd=folder)
    shutil.rmtree(source)
    (built,) = folder.glob("*.whl")
    return built


@pytest.fixture(scope="module")
def bin_folder(folder: Path, wheel: Path) -> Path:
    """The commands of an environment that holds the wheel and what it asks for, nothing else."""
    run_well(sys.executable, "-m", "venv", folder / "empty", cwd=folder)
    python = folder / "empty/bin/python"
    run_well(python, "-m", "pip", "install", "--quiet", wheel, cwd=folder)
    return python.parent


@pytest.fixture(scope="module")
def excerpt(bin_folder: Path, folder: Path) -> str:
    """An excerpt of the demo, as it was installed."""
    look = "import demo_signals; print(demo_signals.excerpts()[0])"
    return run_well(bin_folder / "python", "-P", "-c", look, cwd=folder).strip()


def names_in(wheel: Path) -> list[str]:
    with zipfile.ZipFile(wheel) as archive:
        return archive.namelist()


def test_it_holds_the_three_packages_and_no_more(wheel):
    assert wheel.name == "leadline-0.1.0-py3-none-any.whl"
    tops = {name.partition("/")[0] for name in names_in(wheel)}
    assert tops == {"meter", "ui", "demo_signals", "leadline-0.1.0.dist-info"}


def test_it_holds_every_file_that_its_packages_read(wheel, root):
    suffixes = {".py", ".toml", ".md", ".ttf", ".flac", ".wav", ".html", ".js", ".css"}
    files = (path for name in ("meter", "ui", "demo_signals") for path in (root / name).rglob("*"))
    wanted = {str(path.relative_to(root)) for path in files if path.suffix in suffixes}
    assert wanted
    assert wanted <= set(names_in(wheel))
    assert any(name.endswith("LICENSE") for name in names_in(wheel))


def test_help_is_shown(bin_folder, folder):
    assert "check" in run_well(bin_folder / "leadline", "--help", cwd=folder)


def test_the_published_signals_are_proved(bin_folder, folder):
    assert run_well(bin_folder / "leadline", "prove", cwd=folder)


def test_an_excerpt_of_the_demo_is_measured(bin_folder, folder, excerpt):
    (line,) = run_well(bin_folder / "leadline", "check", "--json", excerpt, cwd=folder).splitlines()
    read = json.loads(line)
    assert (read["type"], read["path"]) == ("file", excerpt)
    assert -30.0 < read["integrated_lufs"] < 0.0


def test_an_unreadable_file_is_one_sentence(bin_folder, folder):
    done = run(bin_folder / "leadline", "check", "no such tune.wav", cwd=folder)
    assert done.returncode == 2
    assert "no such tune.wav" in done.stderr
    assert "Traceback" not in done.stderr
