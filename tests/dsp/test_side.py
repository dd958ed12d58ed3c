"""True peak and low bands in a copy of the process: the same to the bit, over gaps and silence too."""

from __future__ import annotations

import subprocess
import sys

import pytest

PROGRAM = """
import sys
import numpy as np
from meter.chain import Chain

rate_hz, channels = int(sys.argv[1]), int(sys.argv[2])
rng = np.random.default_rng(11)
sound = (0.3 * rng.standard_normal((9 * rate_hz, channels))).astype(np.float32)
sound[2 * rate_hz : 5 * rate_hz] = 0.0  # long enough for every filter to come to rest
sound[6 * rate_hz + 5] = np.nan
sound = sound[: 9 * rate_hz - 77]


class Kept:
    def __init__(self):
        self.heard = []
    def process(self, samples, first_index):
        self.heard.append((first_index, samples.tobytes()))
    def gap(self):
        self.heard.append("gap")
    def flush(self):
        self.heard.append("flush")


def measured(**how):
    kept, rows = Kept(), []
    with Chain(rate_hz=rate_hz, channels=channels, low_sink=kept, **how) as chain:
        for _ in range(2):  # twice: a pass leaves nothing to the next
            rows += [chain.process(sound[: 4 * rate_hz]), chain.process(sound[4 * rate_hz :])]
            rows += [chain.gap(1000), chain.process(sound), chain.flush()]
            chain.set_over_limit(-6.0)
        overs = list(chain.overs)
    return np.concatenate(rows).tobytes(), kept.heard, overs


apart, here = measured(apart=True), measured()
assert here[2] and len(here[1]) > 10
assert apart == here
"""


@pytest.mark.parametrize(("rate_hz", "channels"), [(48_000, 2), (44_100, 1), (96_000, 6), (22_050, 2)])
def test_a_copy_of_the_process_measures_the_same_to_the_bit(rate_hz, channels):
    # A process of its own: only one without threads is to be copied.
    subprocess.run([sys.executable, "-c", PROGRAM, str(rate_hz), str(channels)], check=True, timeout=120)
