"""The project's figures, here and now: ``python -m tests.benchmarks [--seconds N] [--rounds N]``.

Run it on a machine that does nothing else. The ratios are what counts; absolute figures change
from machine to machine and from day to day.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from contextlib import suppress
from pathlib import Path
from typing import Final

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from tests.benchmarks import live, material, rivals
from tests.benchmarks.timing import compare

LIMITS = {
    "levels and true peak, one thread": 1.5,
    "whole chain, one thread": 1.2,
    "check with low end, one thread": 1.2,
    "as check runs it": 1.8,
}
"""How many times faster than FFmpeg's ebur128=peak=true each has to be.

Decoding FLAC takes both sides equally long, and of ours on one thread a third and more: there the ratio
is printed with that share, and the limit holds as `check` runs it."""

DECODED: Final = "48 kHz 24 bit FLAC"

CHECK = (
    "import sys; from meter.check import Options, check_file; "
    "from meter.low_end.settings import LowEndSettings; "
    "check_file(sys.argv[1], Options(low_end=LowEndSettings()))"
)


def main() -> int:
    """Print the figures; 1 when one misses its limit."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=600.0, help="length of the files to measure")
    parser.add_argument("--rounds", type=int, default=5, help="rounds that count")
    parser.add_argument("--skip-long", action="store_true", help="no 3-hour file, no paced run")
    args = parser.parse_args()
    print(machine())
    missed = 0
    with tempfile.TemporaryDirectory() as folder:
        for form in material.FORMS:
            missed += speed(material.write(Path(folder), form, seconds=args.seconds), form, args)
        if not args.skip_long:
            missed += memory(Path(folder) / "long.wav")
    if not args.skip_long:
        share_pct = live.share_of_a_core_pct(seconds=20.0)
        missed += line("live, 100 ms hops, really paced", f"{share_pct:.2f} % of one core", share_pct <= 2.0)
    return 1 if missed else 0


def machine() -> str:
    """Which kernels run, who chose them, against which FFmpeg, and how busy the machine is."""
    import av
    import numpy  # noqa: F401  - loads the library that is asked about
    from threadpoolctl import threadpool_info

    pools = [pool for pool in threadpool_info() if pool["user_api"] == "blas"]
    kernels = {f"{pool.get('architecture', '')} {pool['num_threads']} thread" for pool in pools}
    # A variable can hold the library to older kernels than the processor has: half as fast.
    forced = os.environ.get("OPENBLAS_CORETYPE")
    return (
        f"matrix products: {'; '.join(sorted(kernels))}"
        f"{f' (OPENBLAS_CORETYPE={forced})' if forced else ''}; FFmpeg {av.ffmpeg_version_info}; "
        f"load before the run: {os.getloadavg()[0]:.2f}"
    )


def speed(path: Path, form: str, args: argparse.Namespace) -> int:
    """Compare on one file; how many limits were missed."""
    found = compare(
        {
            "FFmpeg": lambda: rivals.ffmpeg_peak(path),
            "levels and true peak, one thread": lambda: rivals.levels_and_true_peak(path),
            "whole chain, one thread": lambda: rivals.whole_chain(path),
            "check with low end, one thread": lambda: rivals.with_low_end(path),
            "as check runs it": lambda: rivals.as_check_runs(path),
            "decoding alone": lambda: rivals.decode(path),
        },
        rounds=args.rounds,
    )
    print(
        f"\n{form}, {args.seconds:g} s: "
        f"FFmpeg {found.times_real_time('FFmpeg', args.seconds):.0f} x real time"
    )
    missed = 0
    for name, limit in LIMITS.items():
        ratio = found.ratio(name, "FFmpeg")
        figure = f"{found.times_real_time(name, args.seconds):.0f} x real time, {ratio:.2f} x FFmpeg"
        if form == DECODED and name.endswith("one thread"):
            share_pct = 100.0 / found.ratio("decoding alone", name)
            line(name, f"{figure} (decoding takes {share_pct:.0f} % of ours)", True)
        else:
            missed += line(name, f"{figure} (at least {limit})", ratio >= limit)
    return missed


def memory(path: Path) -> int:
    """Peak memory of checking a 3-hour WAV, all its processes together; what they share counts once."""
    material.write_looped(path, rate_hz=48_000, subtype="PCM_16", seconds=3 * 3600.0)
    running = subprocess.Popen([sys.executable, "-c", CHECK, str(path)])
    peak_kb = 0
    while running.poll() is None:
        children = Path(f"/proc/{running.pid}/task/{running.pid}/children")
        with suppress(OSError):  # one of them has just ended
            pids = [str(running.pid), *children.read_text().split()]
            peak_kb = max(peak_kb, sum(proportional_kb(pid) for pid in pids))
        time.sleep(0.1)
    assert running.returncode == 0
    peak_mb = peak_kb // 1024
    print()
    return line("memory, 3-hour WAV", f"{peak_mb} MB (at most 200)", peak_mb <= 200)


def proportional_kb(pid: str) -> int:
    """Memory of a process, of what it shares its part."""
    rows = Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines()
    return int(next(row for row in rows if row.startswith("Pss:")).split()[1])


def line(name: str, figure: str, is_kept: bool) -> int:
    """Print one figure; 1 when it misses."""
    print(f"  {name:<34} {figure}{'' if is_kept else '  MISSED'}")
    return 0 if is_kept else 1


if __name__ == "__main__":
    sys.exit(main())
