"""What is there when the window has settled is not walked through again and again."""

import os
import subprocess
import sys

PROGRAM = """
import gc
from ui.memory import leave_what_stays

stays = [[]]


def is_walked_through(one):
    return any(each is one for each in gc.get_objects())


print(is_walked_through(stays))
leave_what_stays()
later = [[]]
print(is_walked_through(stays), is_walked_through(later))
"""

ASKED = """
from PyQt6.QtCore import QTimer
from ui import app, memory

frozen = []
memory.leave_what_stays = lambda: frozen.append(1)
app.SETTLED_MS = (1, 5)


class Conductor:
    def __init__(self):
        self.desk = self
        self.misfortune = self
        self.emit = print

    def show(self, first):
        first._call()
        QTimer.singleShot(300, qt.quit)

    def begin(self, spec): pass
    def open(self, paths): pass
    def say(self, sentence): pass
    def quit(self): pass


qt = app._application()
app._live(qt, Conductor(), "demo", ())
print(len(frozen))
"""


def said(program, root):
    env = os.environ | {"QT_QPA_PLATFORM": "offscreen"}
    done = subprocess.run([sys.executable, "-c", program], cwd=root, env=env, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return done.stdout.split()


def test_what_stays_costs_nothing_any_more(root):
    assert said(PROGRAM, root) == ["True", "False", "True"]


def test_the_window_asks_for_it_once_it_has_settled(root):
    assert said(ASKED, root) == ["2"]
