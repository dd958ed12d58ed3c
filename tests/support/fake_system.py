"""A small pretended system for the launcher: a PATH that holds only what a test puts there.

The pretended Python makes no environment and installs nothing: it writes down how it was
called, so that a test of the launcher takes milliseconds and touches no network.
"""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

REAL_TOOLS = (
    *("cat", "cksum", "dirname", "env", "grep", "ln", "mkdir", "mktemp", "mv", "readlink", "rm", "rmdir"),
    *("sed", "sh", "sleep", "tr", "uname", "wc"),
)

# Called as an interpreter of the system and, through the link that "venv" makes, as that of .venv.
PYTHON = """
printf '%s %s\\n' "${0##*/}" "$*" >>"$FAKE/calls"
case "$*" in
    "-c import sys;"*) [ ! -e "$FAKE/too-old" ] ;;
    "-c import ensurepip"*) [ ! -e "$FAKE/no-venv" ] ;;
    "-m venv "*)
        mkdir -p "$3/bin"
        for name in python lint-imports codespell; do ln -s "$FAKE/bin/python3" "$3/bin/$name"; done ;;
    "-m ruff "* | "-m mypy" | "-m pytest"*)
        [ ! -e "$FAKE/not-run" ] || [ -z "${LEADLINE_NOT_RUN-}" ] || cat "$FAKE/not-run" >"$LEADLINE_NOT_RUN"
        for part in rest realtime; do
            case "$*" in *"--only $part"*) [ ! -e "$FAKE/$part-is-empty" ] || exit 5 ;; esac
        done
        [ ! -e "$FAKE/$2-fails" ] ;;
    "") [ ! -e "$FAKE/${0##*/}-fails" ] ;;
    "-m pip "*)
        echo "a line of pip"
        [ ! -e "$FAKE/slow" ] || sleep 0.5
        [ ! -e "$FAKE/stuck" ] || { : >"$FAKE/pip-began"; sleep 60; }
        [ ! -e "$FAKE/no-network" ] ;;
    --version) echo "Python 3.11.0" ;;
    "-P -m ui"*)
        shift 3
        printf 'ran in %s, threads %s:' "$PWD" "$OPENBLAS_NUM_THREADS$OMP_NUM_THREADS"
        for argument; do printf ' [%s]' "$argument"; done
        echo ;;
    *) exit 9 ;;
esac
"""

DPKG_QUERY = """
shift 3
for name; do
    if grep -qx -e "$name" "$FAKE/installed"; then printf '%s=installed ' "$name"; fi
done
"""

APT_GET = """
case "$*" in
    *" -s install "*) [ ! -e "$FAKE/no-lists" ]; exit ;;
    *" update") rm -f "$FAKE/no-lists" ;;
esac
printf 'apt-get %s\\n' "$*" >>"$FAKE/calls"
echo "a line of apt-get"
[ ! -e "$FAKE/no-network" ] || exit 100
case "$*" in
    *install*)
        for name; do case $name in -*) ;; *) echo "$name" >>"$FAKE/installed" ;; esac; done
        rm -f "$FAKE/no-venv" ;;
esac
"""


class FakeSystem:
    """A folder of tools, and a checkout of the launcher in a folder with spaces in its name."""

    def __init__(self, folder: Path, launcher: Path) -> None:
        self.folder = folder / "system"
        self.project = folder / "my own projects" / "lead line"
        (self.folder / "bin").mkdir(parents=True)
        self.project.mkdir(parents=True)
        for name in REAL_TOOLS:
            found = shutil.which(name)
            assert found, f"{name}: a tool that every system has"
            (self.folder / "bin" / name).symlink_to(found)
        self.tool("python3", PYTHON)
        self.tool("id", "echo 1000")
        self.calls_file.touch()
        shutil.copy(launcher, self.project / "leadline")
        (self.project / "pyproject.toml").write_text("[project]\nname = 'leadline'\n")

    @property
    def calls_file(self) -> Path:
        return self.folder / "calls"

    @property
    def environment(self) -> dict[str, str]:
        return {"PATH": str(self.folder / "bin"), "FAKE": str(self.folder), "HOME": str(self.folder)}

    def tool(self, name: str, script: str) -> None:
        """Put a command on the PATH (again)."""
        path = self.folder / "bin" / name
        path.unlink(missing_ok=True)
        path.write_text(f"#!{shutil.which('sh')}\n{script}\n")
        path.chmod(0o755)

    def use_real(self, name: str) -> None:
        """Put a command of the real system on the PATH."""
        found = shutil.which(name)
        assert found, name
        (self.folder / "bin" / name).symlink_to(found)

    def become_root(self) -> None:
        self.tool("id", "echo 0")

    def become_debian(self, *installed: str) -> None:
        self.tool("dpkg-query", DPKG_QUERY)
        self.tool("apt-get", APT_GET)
        (self.folder / "installed").write_text("".join(f"{name}\n" for name in installed))

    def set(self, trouble: str) -> None:
        """Let something go wrong from now on; the scripts above say what there is."""
        (self.folder / trouble).touch()

    def mend(self, trouble: str) -> None:
        (self.folder / trouble).unlink()

    def calls(self) -> list[str]:
        """What was called since the last look."""
        lines = self.calls_file.read_text().splitlines()
        self.calls_file.write_text("")
        return lines

    def begin(self, *arguments: str, launcher: Path | None = None, cwd: Path | None = None, **variables: str):
        """Start the launcher and do not wait."""
        return subprocess.Popen(
            [launcher or self.project / "leadline", *arguments],
            cwd=cwd or self.project,
            env=self.environment | variables,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            start_new_session=True,
        )

    def start(self, *arguments: str, **more) -> subprocess.CompletedProcess[str]:
        """Start the launcher and wait for its end."""
        running = self.begin(*arguments, **more)
        try:
            output, errors = running.communicate(timeout=60)
        except subprocess.TimeoutExpired:
            os.killpg(running.pid, 9)
            raise
        return subprocess.CompletedProcess(running.args, running.returncode, output, errors)
