"""The built wheel in an empty environment, used from another folder: what a user installs."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
import sysconfig
import zipfile
from importlib.metadata import packages_distributions
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
    """The commands of an environment that holds the wheel, with the libraries of the one that runs the tests.

    What a module of the checkout would be is not among them: only a folder that Python reads at its start
    may bring an editable installation with it.
    """
    run_well(sys.executable, "-m", "venv", "--without-pip", folder / "beside", cwd=folder)
    python = folder / "beside/bin/python"
    look = "import sysconfig; print(sysconfig.get_path('purelib'))"
    ours = run_well(python, "-c", look, cwd=folder).strip()
    install = ("-m", "pip", "--python", python, "install", "--quiet", "--no-deps", wheel)
    run_well(sys.executable, *install, cwd=folder)
    Path(ours, "libraries.pth").write_text(f"{sysconfig.get_path('purelib')}\n")
    place = run_well(python, "-P", "-c", "import meter; print(meter.__file__)", cwd=folder).strip()
    assert Path(place).is_relative_to(folder)
    return python.parent


@pytest.fixture(scope="module")
def empty_bin_folder(folder: Path, wheel: Path) -> Path:
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


@pytest.mark.long
def test_what_it_asks_for_is_all_that_it_needs(empty_bin_folder, folder):
    """In an environment of its own, where the published signals are proved."""
    assert run_well(empty_bin_folder / "leadline", "prove", cwd=folder)


def test_it_asks_for_every_library_that_is_imported(bin_folder, folder, root):
    """What is imported anywhere is asked for, under the name by which it is installed."""
    look = "from importlib.metadata import requires; print('\\n'.join(requires('leadline')))"
    lines = run_well(bin_folder / "python", "-P", "-c", look, cwd=folder).splitlines()
    asked = {re.match(r"[A-Za-z0-9_.-]+", line)[0].lower() for line in lines if "extra ==" not in line}
    names = packages_distributions()
    imported: set[str] = set()
    for package in ("meter", "ui", "demo_signals"):
        for path in (root / package).rglob("*.py"):
            found = re.findall(r"^\s*(?:from|import) ([A-Za-z_0-9]+)", path.read_text(), re.MULTILINE)
            imported |= {name for name in found if name not in sys.stdlib_module_names}
    libraries = [{each.lower() for each in names[name]} for name in imported if name in names]
    others = [each for each in libraries if "leadline" not in each]
    assert len(others) >= 6, "numpy, scipy, the sound card, the window and more"
    for each in others:
        assert each & asked, each


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
