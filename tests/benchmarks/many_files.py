"""Twelve files as ``leadline check`` measures a folder, against FFmpeg one after another.

``python -m tests.benchmarks.many_files [--seconds N] [--rounds N] [--others]``, on a machine that is idle
otherwise; a minute or two. ``--others`` also says what threads, and one file after another, would come to.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from meter.check import Checked, Options, check_one
from meter.check_run import _context, check_all, cores
from meter.low_end.settings import LowEndSettings
from tests.benchmarks import material, rivals
from tests.benchmarks.__main__ import line, machine
from tests.benchmarks.timing import compare

FILES = 12
OPTIONS = Options(low_end=LowEndSettings())  # as the command has them
LIMIT = 2.0
"""How many times faster than FFmpeg one file after another."""


def main() -> int:
    """Print the figures; 1 when the limit is missed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=120.0, help="length of each file")
    parser.add_argument("--rounds", type=int, default=3, help="rounds that count")
    parser.add_argument("--others", action="store_true", help="also threads, and one after another")
    args = parser.parse_args()
    print(f"{machine()}; {cores()} cores; workers by {_context().get_start_method()}")
    with tempfile.TemporaryDirectory() as folder:
        names = write(Path(folder), args.seconds)
        ours: dict[str, Callable[[], object]] = {"as check runs them": lambda: side_by_side(names)}
        if args.others:
            ours["in threads"] = lambda: in_threads(names)
            ours["one after another"] = lambda: side_by_side(names, workers=0)
        ffmpeg: dict[str, Callable[[], object]] = {
            "FFmpeg": lambda: [rivals.ffmpeg_peak(Path(name)) for name in names]
        }
        found = compare(ffmpeg | ours, rounds=args.rounds)
    whole_s = FILES * args.seconds
    rival = found.times_real_time("FFmpeg", whole_s)
    print(f"\n{FILES} files of {args.seconds:g} s: FFmpeg {rival:.0f} x real time")
    missed = 0
    for name in ours:
        ratio = found.ratio(name, "FFmpeg")
        figure = f"{found.times_real_time(name, whole_s):.0f} x real time, {ratio:.2f} x FFmpeg"
        is_held = name == "as check runs them"
        missed += line(
            name, figure + (f" (at least {LIMIT})" if is_held else ""), ratio >= LIMIT or not is_held
        )
    return 1 if missed else 0


def write(folder: Path, seconds: float) -> list[str]:
    """The files, each form of material in turn."""
    names = []
    for number in range(FILES):
        name, rate_hz, subtype = list(material.FORMS.values())[number % len(material.FORMS)]
        path = folder / f"{number:02d}-{name}"
        material.write_looped(path, rate_hz=rate_hz, subtype=subtype, seconds=seconds)
        names.append(str(path))
    return names


def side_by_side(names: list[str], workers: int | None = None) -> None:
    """As the command does."""
    assert all(isinstance(result, Checked) for result in check_all(names, OPTIONS, workers=workers))


def in_threads(names: list[str]) -> None:
    """The same with a thread for each core."""
    one_thread = replace(OPTIONS, beside=False)
    with ThreadPoolExecutor(cores()) as pool:
        assert all(pool.map(lambda name: isinstance(check_one(name, one_thread), Checked), names))


if __name__ == "__main__":
    sys.exit(main())
