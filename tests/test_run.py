"""tests/run itself, on a pretended system: it does every check, and its last line and status tell."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from tests.support.fake_system import FakeSystem

CHECKS = [
    "python -m ruff check .",
    "python -m mypy",
    "lint-imports",
    "codespell",
    "python -m pytest --only rest -n 3 --dist loadfile",
    "python -m pytest --only realtime",
]
COMPILED = "python -m pytest --collect-only -q"
STARTS = ("python -m ruff", "python -m mypy", "lint-imports", "codespell", "python -m pytest")
NAMES = "ruff, mypy, import-linter, codespell, pytest, pytest in real time"


@pytest.fixture
def system(tmp_path: Path, root: Path) -> FakeSystem:
    system = FakeSystem(tmp_path, root / "leadline")
    (system.project / "tests").mkdir()
    for name in ("run", "packages.txt", "packages-long.txt"):
        shutil.copy(root / "tests" / name, system.project / "tests" / name)
    return system


def run(system: FakeSystem, *arguments: str):
    done = system.start(*arguments, launcher=system.project / "tests/run", cwd=system.folder)
    checks = [call.strip() for call in system.calls() if any(call.startswith(check) for check in STARTS)]
    if done.returncode != 2:
        checks.remove(COMPILED)  # beside the others: anywhere among them
    return done, checks, done.stdout.splitlines()[-1:]


def test_all_checks_run_and_one_line_sums_up(system):
    done, checks, last = run(system)
    assert done.returncode == 0
    assert checks == CHECKS
    assert last == [f"tests/run: all passed: {NAMES}"]


@pytest.mark.parametrize("trouble", ["ruff", "mypy", "lint-imports", "codespell", "pytest"])
def test_one_failure_stops_nothing_and_is_named(system, trouble):
    system.set(f"{trouble}-fails")
    done, checks, last = run(system)
    assert done.returncode == 1
    assert checks == CHECKS
    name = "import-linter" if trouble == "lint-imports" else trouble
    both = "pytest, pytest in real time" if trouble == "pytest" else name
    assert last[0].startswith(f"tests/run: FAILED: {both}; passed: ")


def test_arguments_go_to_pytest(system):
    _, checks, _ = run(system, "--no-install", "--long", "-k", "two words")
    assert checks[-2:] == [
        "python -m pytest --long --only rest -n 3 --dist loadfile -k two words",
        "python -m pytest --long --only realtime -k two words",
    ]


@pytest.mark.parametrize(("empty", "status"), [(["rest"], 0), (["realtime"], 0), (["rest", "realtime"], 1)])
def test_one_part_without_a_test_is_no_failure_and_two_are(system, empty, status):
    for part in empty:
        system.set(f"{part}-is-empty")
    done, _, last = run(system, "-k", "typo")
    assert done.returncode == status
    assert ("FAILED: pytest in real time" in last[0]) == bool(status)


def test_what_could_not_run_off_debian_gives_status_3(system):
    (system.folder / "not-run").write_text("tests/test_a.py::test_b\ntests/test_a.py::test_c\n")
    done, _, last = run(system)
    assert done.returncode == 3
    assert "2 tests could not run on this system" in last[0]


def test_a_failed_set_up_gives_status_2(system):
    system.set("no-network")
    done, checks, _ = run(system)
    assert (done.returncode, checks) == (2, [])


def test_root_on_debian_gets_the_packages_of_the_tests_too(system):
    system.become_root()
    system.become_debian()
    run(system)
    installed = (system.folder / "installed").read_text().split()
    assert {"libportaudio2", "pulseaudio", "xvfb", "hyperrogue-music"} <= set(installed)
    assert "hydrogen-drumkits" not in installed


def test_what_only_long_tests_need_is_installed_for_them(system):
    system.become_root()
    system.become_debian()
    run(system, "--long")
    installed = (system.folder / "installed").read_text().split()
    assert {"xvfb", "hydrogen-drumkits"} <= set(installed)
