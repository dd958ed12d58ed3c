"""What the encode check takes beside the encoders themselves: ``python -m tests.benchmarks.encoding``.

A master of five minutes through AAC 256, MP3 320 and Opus 128, without the search for a trim, against
encoding and decoding alone; and how long the search takes where it goes over.
"""

from __future__ import annotations

import argparse
import os
import sys
import time

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

import demo_signals
from meter.delivery.codecs import decoded, encoded, rate_for, wishes_from
from meter.delivery.encoded import encode_check, resampled
from tests.benchmarks.timing import compare

MOST: float = 1.3


def alone(frames, wish):
    """Encode and decode, and look at nothing."""
    to_hz = rate_for(wish.codec, demo_signals.RATE_HZ)
    for _ in decoded(encoded(resampled(frames, demo_signals.RATE_HZ, to_hz), to_hz, wish)):
        pass


def main() -> int:
    """Print the figures; 1 when one misses its limit."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=300.0)
    parser.add_argument("--rounds", type=int, default=3)
    args = parser.parse_args()
    tune = np.clip(demo_signals.render(), -1.0, 1.0).astype(np.float32)
    count = round(args.seconds * demo_signals.RATE_HZ)
    frames = np.concatenate([tune] * (count // len(tune) + 1))[:count]
    wishes = wishes_from("aac:256,mp3:320,opus:128")
    found = compare(
        {
            "alone": lambda: [alone(frames, wish) for wish in wishes],
            "check": lambda: [
                encode_check(frames, demo_signals.RATE_HZ, wish, integrated_lufs=-8.0, finds_trim=False)
                for wish in wishes
            ],
        },
        rounds=args.rounds,
    )
    ratio = 1.0 / found.ratio("check", "alone")
    seconds = args.seconds / found.times_real_time("alone", args.seconds)
    print(f"encoders alone {seconds:.1f} s; with the check {ratio:.2f} of that (at most {MOST})")
    for wish in wishes:
        began_s = time.perf_counter()
        one = encode_check(frames, demo_signals.RATE_HZ, wish, integrated_lufs=-8.0)
        took_s = time.perf_counter() - began_s
        trim = "none found" if one.trim_db is None else f"{one.trim_db:.1f} dB"
        peak = f"{one.true_peak_dbtp:+.2f} dBTP, {one.over_count} overs"
        print(f"{wish.title}: {peak}, trim {trim}, {took_s:.1f} s")
    return 0 if ratio <= MOST else 1


if __name__ == "__main__":
    sys.exit(main())
