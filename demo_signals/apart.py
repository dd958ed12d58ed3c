"""The tune made in a process of its own, into a file.

Its instruments need 70 MB that are not given back, and all of a core for some seconds: in the process
that draws a window neither is wanted. ``python -m demo_signals.apart`` writes the samples to where its
output goes, and ends when whoever has started it does.
"""

from __future__ import annotations

import os
import subprocess
import sys
import threading
from pathlib import Path
from typing import IO, Final

import numpy as np

FOLDER: Final = Path(__file__).resolve().parents[1]


def made_into(file: IO[bytes]) -> bool:
    """Write the tune into a file, as `mixdown.render` gives it; False when no process can be had for that.

    Parameters
    ----------
    file : binary file
        Empty, with a descriptor of its own.
    """
    from demo_signals.mixdown import frames

    path = os.pathsep.join([str(FOLDER), *filter(None, [os.environ.get("PYTHONPATH")])])
    try:
        done = subprocess.Popen(
            [sys.executable, "-m", "demo_signals.apart"],
            stdin=subprocess.PIPE,  # it ends with this one
            stdout=file,
            stderr=subprocess.DEVNULL,
            env=os.environ | {"PYTHONPATH": path},
            start_new_session=True,  # Ctrl-C is for this process
        )
        with done:
            status = done.wait()
    except OSError:
        return False
    return status == 0 and os.fstat(file.fileno()).st_size == 2 * frames() * np.dtype(np.float32).itemsize


def main() -> int:
    """Make the tune and write it; 0."""
    from demo_signals.mixdown import made

    threading.Thread(target=_end_with_the_other, daemon=True).start()
    sys.stdout.buffer.write(made().data.cast("B"))
    sys.stdout.buffer.flush()
    return 0


def _end_with_the_other() -> None:
    os.read(0, 1)  # not through sys.stdin, whose lock would stop the interpreter at its end
    os._exit(1)


if __name__ == "__main__":
    sys.exit(main())
