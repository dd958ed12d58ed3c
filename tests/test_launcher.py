"""The launcher, on a pretended system: what it makes, when it makes it again, what it says.

A later start must add next to nothing; that is held here by what it calls, not by a clock.
"""

from __future__ import annotations

import os
import shutil
import signal
import time
from pathlib import Path

import pytest

from tests.support.fake_system import FakeSystem

VENV_CALL = "python3 -m venv"
PIP_CALL = "python -m pip install"
INSTALLING = "installing with apt-get: libportaudio2 libasound2-plugins libglib2.0-0 libegl1"
TO_TYPE = "type: {}apt-get install -y libportaudio2 libasound2-plugins"


@pytest.fixture
def system(tmp_path: Path, root: Path) -> FakeSystem:
    return FakeSystem(tmp_path, root / "leadline")


@pytest.fixture
def made(system: FakeSystem) -> FakeSystem:
    """A system on which Leadline was started once."""
    assert system.start("check").returncode == 0
    assert times_made(system) == 1
    return system


def times_made(system: FakeSystem) -> int:
    """How often the environment was made since the last look, pip included."""
    calls = system.calls()
    made, filled = (sum(call.startswith(start) for call in calls) for start in (VENV_CALL, PIP_CALL))
    assert made == filled
    return made


# --- starting -------------------------------------------------------------------------------


def test_the_first_start_makes_the_environment_and_runs(system):
    done = system.start("check", "my tune.wav", "--json")
    assert done.returncode == 0
    assert done.stdout == f"ran in {system.project}, threads 11: [check] [my tune.wav] [--json]\n"
    assert "making .venv with Python 3.11.0, once" in done.stderr
    assert "a line of pip" in done.stderr
    assert times_made(system) == 1


def test_a_later_start_calls_nothing_but_the_program(made):
    done = made.start("check")
    assert done.stderr == ""
    assert made.calls() == ["python -P -m ui check"]


def test_the_programs_exit_status_is_the_launchers(made):
    made.tool("python3", "exit 1")
    assert made.start("check").returncode == 1


def test_it_starts_through_links_from_another_folder(made, tmp_path):
    elsewhere = tmp_path / "else where"
    elsewhere.mkdir()
    (elsewhere / "first").symlink_to(os.path.relpath(made.project / "leadline", elsewhere))
    (elsewhere / "second").symlink_to("first")
    done = made.start("check", launcher=elsewhere / "second", cwd=elsewhere)
    assert done.stdout == f"ran in {elsewhere}, threads 11: [check]\n"
    assert times_made(made) == 0


def test_it_starts_as_an_argument_of_sh(made):
    done = made.start("leadline", "check", launcher=Path(shutil.which("sh")))
    assert done.stdout == f"ran in {made.project}, threads 11: [check]\n"
    assert times_made(made) == 0


# --- made again, and when -------------------------------------------------------------------


def change_pyproject(system: FakeSystem) -> None:
    with (system.project / "pyproject.toml").open("a") as text:
        text.write("dependencies = ['numpy']\n")


def move(system: FakeSystem) -> None:
    system.project = system.project.rename(system.project.with_name("moved"))


def take_the_interpreter_away(system: FakeSystem) -> None:
    (system.project / ".venv/bin/python").unlink()
    (system.project / ".venv/bin/python").symlink_to("/nowhere/python3")


def change_the_interpreter(system: FakeSystem) -> None:
    python3 = system.folder / "bin/python3"
    python3.rename(python3.with_name("python3.12"))
    python3.symlink_to("python3.12")


def lose_the_stamp(system: FakeSystem) -> None:
    (system.project / ".venv/leadline-stamp").unlink()


@pytest.mark.parametrize(
    "happening",
    [change_pyproject, move, take_the_interpreter_away, change_the_interpreter, lose_the_stamp],
    ids=lambda happening: happening.__name__.replace("_", " "),
)
def test_it_is_made_again_after_a(made, happening):
    happening(made)
    left_over = made.project / ".venv/left-over"
    left_over.touch()
    assert made.start("check").returncode == 0
    assert times_made(made) == 1
    assert not left_over.exists()
    assert made.start("check").returncode == 0
    assert times_made(made) == 0


def test_a_start_killed_half_way_leaves_nothing_that_counts(system):
    system.set("stuck")
    running = system.begin("check")
    for _ in range(3000):
        if (system.folder / "pip-began").exists():
            break
        time.sleep(0.01)
    os.killpg(running.pid, signal.SIGKILL)
    running.communicate()
    system.mend("stuck")
    assert times_made(system) == 1
    assert system.start("check").returncode == 0
    assert times_made(system) == 1


def test_a_failed_install_is_said_once_and_tried_again(system):
    system.set("no-network")
    done = system.start("check")
    assert done.returncode == 2
    assert done.stdout == ""
    assert "pip could not install what Leadline needs" in done.stderr
    assert times_made(system) == 1
    system.mend("no-network")
    assert system.start("check").returncode == 0


def test_an_environment_of_somebody_else_is_kept(system):
    (system.project / ".venv").mkdir()
    (system.project / ".venv/work").write_text("of a week")
    done = system.start("check")
    assert done.returncode == 0
    assert "was not made by ./leadline" in done.stderr
    assert [path.read_text() for path in system.project.glob(".venv.kept.*/work")] == ["of a week"]


@pytest.mark.parametrize("flock", [True, False], ids=["with flock", "without flock"])
def test_two_starts_at_once_make_it_once(system, flock):
    if flock:
        system.use_real("flock")
    system.set("slow")
    running = [system.begin("check", str(number)) for number in range(3)]
    output = [one.communicate(timeout=60)[0] for one in running]
    assert [f"[{number}]" in text for number, text in enumerate(output)] == [True] * 3
    assert times_made(system) == 1


def test_without_flock_a_dead_owner_holds_nobody_up(system):
    gone = system.begin("check", launcher=Path(shutil.which("true")))
    gone.communicate()
    lock = system.project / ".venv.lock"
    lock.mkdir()
    (lock / "held").symlink_to(str(gone.pid))
    assert system.start("check").returncode == 0
    assert times_made(system) == 1
    assert list(lock.iterdir()) == []


# --- the extra of the tests -----------------------------------------------------------------


def test_an_extra_is_added_to_what_is_there(made):
    assert made.start("--set-up", "--extra", "test").returncode == 0
    assert [call.rpartition("/")[2] for call in made.calls()] == ["lead line[test]"]
    made.start("--set-up", "--extra", "test")
    assert made.calls() == []
    made.start("check")
    assert made.calls() == ["python -P -m ui check"]


def test_program_and_extra_are_installed_together_on_a_new_clone(system):
    assert system.start("--set-up", "--extra", "test").returncode == 0
    assert times_made(system) == 1
    system.start("check")
    assert times_made(system) == 0


# --- Python ---------------------------------------------------------------------------------


def test_a_python_that_is_too_old_is_named_with_what_to_type(system):
    system.set("too-old")
    done = system.start("check")
    assert done.returncode == 2
    assert "needs Python 3.11 or newer" in done.stderr
    assert "type: sudo apt-get install -y python3 python3-venv" in done.stderr


def test_a_newer_python_under_its_own_name_is_found(system):
    (system.folder / "bin/python3").rename(system.folder / "bin/python3.12")
    system.tool("python3", "exit 1")
    system.start("check")
    assert any(call.startswith("python3.12 -m venv") for call in system.calls())


def test_a_missing_python3_venv_is_named_with_what_to_type(system):
    system.set("no-venv")
    done = system.start("check")
    assert done.returncode == 2
    assert "the package python3-venv is missing. Type: sudo apt-get install -y python3-venv" in done.stderr


def test_root_on_debian_gets_python3_venv(system):
    system.set("no-venv")
    system.become_root()
    system.become_debian()
    done = system.start("check")
    assert done.returncode == 0
    assert "installing with apt-get: python3-venv" in done.stderr
    assert times_made(system) == 1


# --- the system's packages ------------------------------------------------------------------


def apt_calls(system: FakeSystem) -> list[str]:
    return [call for call in system.calls() if call.startswith("apt-get")]


def test_root_on_debian_gets_what_is_missing_and_is_told(system):
    system.become_root()
    system.become_debian("libgl1")
    done = system.start("demo")
    assert done.returncode == 0
    assert INSTALLING in done.stderr
    assert "a line of apt-get" in done.stderr
    assert "apt-get" not in done.stdout
    assert len(apt_calls(system)) == 1
    done = system.start("demo")
    assert (done.stderr, apt_calls(system)) == ("", [])


def test_lists_of_packages_are_fetched_when_there_are_none(made):
    made.become_root()
    made.become_debian()
    made.set("no-lists")
    made.start("demo")
    update, install = apt_calls(made)
    assert update.endswith(" update")
    assert " install -y " in install


def test_newer_names_of_a_package_count(made):
    made.become_root()
    made.become_debian()
    made.start("demo")
    installed = made.folder / "installed"
    installed.write_text(installed.read_text().replace("libglib2.0-0", "libglib2.0-0t64"))
    made.calls()
    made.start("demo")
    assert apt_calls(made) == []


def test_root_without_a_network_goes_on_and_is_not_held_up_again(made):
    made.become_root()
    made.become_debian()
    made.set("no-network")
    done = made.start("demo")
    assert TO_TYPE.format("") in done.stderr
    assert "[demo]" in done.stdout
    assert [call.split()[-1] for call in apt_calls(made)][1] == "update"
    assert "[demo]" in made.start("demo").stdout
    assert apt_calls(made) == []


def test_another_user_is_told_the_line_to_type_and_goes_on(made):
    made.become_debian()
    done = made.start("demo")
    assert TO_TYPE.format("sudo ") in done.stderr
    assert "[demo]" in done.stdout
    assert apt_calls(made) == []


@pytest.mark.parametrize(
    ("options", "variables"),
    [(["--no-install"], {}), ([], {"LEADLINE_NO_INSTALL": "1"})],
    ids=["option", "variable"],
)
def test_installing_can_be_forbidden(system, options, variables):
    system.become_root()
    system.become_debian()
    done = system.start(*options, "demo", **variables)
    assert done.stdout.endswith(": [demo]\n")
    assert TO_TYPE.format("") in done.stderr
    assert apt_calls(system) == []
    assert system.start(*options, "demo", **variables).stderr == ""


def test_a_folder_that_cannot_be_written_is_no_matter_once_it_is_made(made):
    made.become_debian()
    shutil.rmtree(made.project / ".venv.lock", ignore_errors=True)
    (made.project / ".venv.lock").touch()  # even root cannot make this folder now
    assert "[demo]" in made.start("demo").stdout


def test_measuring_a_file_asks_for_no_package(made):
    made.become_root()
    made.become_debian()
    assert made.start("check", "a.wav").stderr == ""
    assert apt_calls(made) == []


def test_the_packages_of_a_list_come_with_its_own(made):
    made.become_root()
    made.become_debian()
    (made.project / "list.txt").write_text("# why\nxvfb    # a screen\n\npulseaudio\n")
    done = made.start("--set-up", "--packages", "list.txt")
    assert done.returncode == 0
    (call,) = apt_calls(made)
    assert call.endswith("libxkbcommon-x11-0 xvfb pulseaudio")


def test_off_debian_it_says_so_once(system):
    assert "this is no Debian" in system.start("demo").stderr
    assert system.start("demo").stderr == ""
