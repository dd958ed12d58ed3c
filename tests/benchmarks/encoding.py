"""What the encode check takes beside the encoders themselves: ``python -m tests.benchmarks.encoding``.

A master of five minutes through AAC 256, MP3 320 and Opus 128, without the search for a trim, against
encoding and decoding alone, one after the other and two side by side; and where it goes over, how much of
it the search encodes again.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from functools import partial

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

import demo_signals
from meter.delivery import trim
from meter.delivery.codecs import decoded, encoded, rate_for, wishes_from
from meter.delivery.encoded import encode_check
from meter.delivery.progress import side_by_side
from meter.delivery.resample import resampled
from tests.benchmarks.timing import compare

MOST: float = 1.3
RATE_HZ = demo_signals.RATE_HZ


def alone(frames, wish):
    """Encode and decode, and look at nothing."""
    to_hz = rate_for(wish.codec, RATE_HZ)
    for _ in decoded(encoded(resampled(frames, RATE_HZ, to_hz), to_hz, wish)):
        pass


def check(frames, wish, tell=None):
    """The check without the search."""
    return encode_check(frames, RATE_HZ, wish, integrated_lufs=-8.0, finds_trim=False, tell=tell)


def search(frames, wish) -> None:
    """Print what the search for a trim takes, and what it encodes."""
    lengths: list[int] = []

    def counted(part, *arguments, **named):
        lengths.append(len(part))
        return encoded(part, *arguments, **named)

    trim.encoded = counted
    began_s = time.perf_counter()
    one = encode_check(frames, RATE_HZ, wish, integrated_lufs=-8.0)
    took_s = time.perf_counter() - began_s
    trim.encoded = encoded
    found = "none found" if one.trim_db is None else f"{one.trim_db:.1f} dB"
    whole = lengths.count(len(frames))
    around = [length / RATE_HZ for length in lengths if length < len(frames)]
    peak = f"{one.true_peak_dbtp:+.2f} dBTP, {one.over_count} overs"
    print(f"{wish.title}: {peak}, trim {found}, {took_s:.1f} s")
    longest = f"at most {max(around):.1f} s each, " if around else ""
    print(f"  search: {len(around)} pieces, {longest}{sum(around):.0f} s in all; all of it {whole} times")


def main() -> int:
    """Print the figures; 1 when one misses its limit."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=300.0)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--only-ratio", action="store_true", help="leave out two at once, and the search")
    args = parser.parse_args()
    tune = np.clip(demo_signals.render(), -1.0, 1.0).astype(np.float32)
    count = round(args.seconds * RATE_HZ)
    frames = np.concatenate([tune] * (count // len(tune) + 1))[:count]
    wishes = wishes_from("aac:256,mp3:320,opus:128")
    rivals = {
        "alone": lambda: [alone(frames, wish) for wish in wishes],
        "check": lambda: [check(frames, wish) for wish in wishes],
    }
    # Seconds of a processor: what else runs on the machine disturbs them least.
    found = compare(rivals, rounds=args.rounds, clock=time.process_time)
    ratio = 1.0 / found.ratio("check", "alone")
    seconds = args.seconds / found.times_real_time("alone", args.seconds)
    print(f"encoders alone {seconds:.1f} s of a core; with the check {ratio:.2f} of that (at most {MOST})")
    if not args.only_ratio:
        rivals["two at once"] = lambda: side_by_side([partial(check, frames, wish) for wish in wishes])
        found = compare({key: rivals[key] for key in ("check", "two at once")}, rounds=args.rounds)
        faster = found.ratio("two at once", "check")
        print(f"two side by side {faster:.2f} times as fast as one after the other")
        for wish in wishes:
            search(frames, wish)
    return 0 if ratio <= MOST else 1


if __name__ == "__main__":
    sys.exit(main())
