"""The program on a display that there really is; xvfb-run makes one."""

import subprocess
import sys

import pytest

PROGRAM = """
import sys
from ui import app, entry, screen_check
from ui.conductor import Conductor
from PyQt6.QtCore import QTimer

made = app._application

def application():
    print("held", len(screen_check._held))
    return made()

def begin(self, spec):
    print("held", len(screen_check._held))
    print(spec, self.window.isVisible(), flush=True)
    QTimer.singleShot(0, self.window.close)

app._application = application
Conductor.begin = begin
sys.exit(entry.main(sys.argv[1:]))
"""


@pytest.mark.packages("xvfb", "xauth")
def test_the_window_is_shown_and_its_display_is_not_left_alone_before(root, tmp_path):
    """A server starts anew when its last program leaves, and Qt, coming just then, would abort."""
    env = {"PATH": "/usr/bin:/bin", "LEADLINE_HOME": str(tmp_path), "HOME": str(tmp_path)}
    command = ["xvfb-run", "-a", sys.executable, "-c", PROGRAM, "window", "--source", "demo"]
    done = subprocess.run(command, cwd=root, env=env, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines() == ["held 1", "held 0", "demo True"]


STOPPED = """
import os, signal, sys
from ui import entry
from ui.conductor import Conductor
from PyQt6.QtCore import QTimer

begin = Conductor.begin

def begin_and_stop(self, spec):
    begin(self, spec)
    self.session.thoughts_changed.connect(lambda _: os.kill(os.getpid(), signal.SIGINT))

Conductor.begin = begin_and_stop
sys.exit(entry.main(["demo"]))
"""


@pytest.mark.packages("xvfb", "xauth")
def test_ctrl_c_ends_the_window_as_closing_it_does(root, tmp_path):
    env = {"PATH": "/usr/bin:/bin", "LEADLINE_HOME": str(tmp_path), "HOME": str(tmp_path)}
    command = ["xvfb-run", "-a", sys.executable, "-c", STOPPED]
    done = subprocess.run(command, cwd=root, env=env, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")
    assert (tmp_path / "window.toml").exists(), "what was chosen is remembered"
