"""Programs that hear noise in real time and keep it, each in a folder of its own; `test_kills.py` kills them.

``python -m tests.support.killed FOLDER…``: one process for each folder, whose numbers it says as one line
of JSON. Each writes into its folder when it began to hear.
"""

from __future__ import annotations

import json
import os
import sys
import time
from pathlib import Path

import numpy as np

from meter.chain import Chain
from meter.engine import Engine
from meter.journal.writer import JournalWriter
from tests.support.fake_source import PacedSource


def hear(folder: Path, *, seed: int) -> None:
    """Hear noise until somebody ends it; every second one hears a set."""
    sound = np.random.default_rng(seed).standard_normal((96_000, 2)) * 0.1
    keeper = JournalWriter(folder, is_set=bool(seed % 2))
    source = PacedSource(sound, spec="system", name="what the machine plays")
    engine = Engine(
        source, on_soundings=lambda rows: keeper.take(rows, engine.live_pass), on_pass=keeper.end_pass
    )
    start = source.start

    def start_and_tell() -> None:
        start()
        (folder / "began").write_text(repr(time.time()))

    source.start = start_and_tell  # type: ignore[method-assign]
    engine.start()
    keeper.start()
    time.sleep(3600.0)


def main() -> None:
    """Start them, and wait for the end of all."""
    Chain(rate_hz=48_000, channels=2).process(np.zeros((48_000, 2)))  # what takes time, once for all of them
    numbers = []
    for seed, name in enumerate(sys.argv[1:]):
        number = os.fork()
        if number == 0:
            hear(Path(name), seed=seed)
            os._exit(0)
        numbers.append(number)
    print(json.dumps(numbers), flush=True)
    for number in numbers:
        os.waitpid(number, 0)


if __name__ == "__main__":
    main()
