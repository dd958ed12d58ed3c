"""The program on a display that there really is; xvfb-run makes one."""

import subprocess
import sys

import pytest

PROGRAM = """
import sys
from ui import entry
from ui.conductor import Conductor
from PyQt6.QtCore import QTimer

def begin(self, spec):
    print(spec, self.window.isVisible(), flush=True)
    QTimer.singleShot(0, self.window.close)

Conductor.begin = begin
sys.exit(entry.main(sys.argv[1:]))
"""


@pytest.mark.packages("xvfb", "xauth")
def test_the_window_is_shown_on_a_display_that_starts_anew_when_its_last_program_leaves(root, tmp_path):
    env = {"PATH": "/usr/bin:/bin", "LEADLINE_HOME": str(tmp_path), "HOME": str(tmp_path)}
    command = [
        "xvfb-run", "-a", sys.executable, "-c",
        "import subprocess, sys\nfor _ in range(5):\n    subprocess.run(sys.argv[1:], check=True)",
        sys.executable, "-c", PROGRAM, "window", "--source", "demo",
    ]  # fmt: skip
    done = subprocess.run(command, cwd=root, env=env, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines() == ["demo True"] * 5
