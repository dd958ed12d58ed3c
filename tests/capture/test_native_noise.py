"""What sound libraries print to themselves, seen where the user would see it."""

from __future__ import annotations

import subprocess
import sys

PROGRAM = """
import os
from meter.capture.native_noise import kept_quiet
with kept_quiet():
    os.write(2, b"ALSA lib pcm.c:8559:(snd_pcm_open) Unknown PCM\\n")
    os.write(2, b"Expression 'r' failed in 'src/hostapi/alsa/pa_linux_alsa.c', line: 2097\\n")
    os.write(2, b"jack server is not running or cannot be started\\n")
    os.write(2, b"something that matters\\n")
os.write(2, b"ALSA lib is heard again\\n")
"""


def run(program: str) -> str:
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    return done.stderr


def test_their_lines_are_kept_back_and_others_are_passed_on():
    assert run(PROGRAM) == "something that matters\nALSA lib is heard again\n"


def test_an_error_inside_passes_and_standard_error_is_back():
    program = PROGRAM.replace('os.write(2, b"something that matters\\n")', 'raise SystemExit("it failed")')
    assert program != PROGRAM
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True)
    assert done.stderr == "it failed\n"


def test_it_works_without_a_standard_error():
    program = """
import os
from meter.capture.native_noise import kept_quiet
os.close(2)
with kept_quiet():
    print("done")
"""
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout == "done\n"
