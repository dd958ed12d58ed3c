"""Soundings for tests of the journal: any bytes at all, or those of real samples."""

import time

import numpy as np
from hypothesis import strategies as st

from meter.capture.records import SourceInfo
from meter.chain import Chain
from meter.journal.records import PassStart
from meter.live_pass import LivePass
from meter.soundings import SOUNDING

RATE_HZ = 8000


def any_rows(seed, count):
    """Rows of any bytes, NaN of every kind and infinities among them."""
    data = np.random.default_rng(seed).integers(0, 256, count * SOUNDING.itemsize, np.uint8).tobytes()
    rows = np.frombuffer(data, SOUNDING).copy()
    rows["frames"] = np.abs(rows["frames"] % 1000)
    return rows


def heard_rows(seconds, *, level=0.1, seed=0, rate_hz=RATE_HZ, channels=2):
    """The soundings of noise."""
    sound = np.random.default_rng(seed).standard_normal((round(seconds * rate_hz), channels)) * level
    return rows_of(sound, rate_hz=rate_hz)


def rows_of(sound, *, rate_hz=RATE_HZ):
    """The soundings of samples."""
    chain = Chain(rate_hz=rate_hz, channels=sound.shape[1], over_limit_dbtp=0.0, is_excerpt=True)
    return np.concatenate([chain.process(np.asarray(sound, np.float32)), chain.flush()])


def start(**changes):
    """A pass that begins."""
    known = {
        "began_unix_s": 1_700_000_000.0,
        "spec": "system",
        "name": "what the machine plays",
        "rate_hz": RATE_HZ,
        "channels": 2,
        "weights": (1.0, 1.0),
        "crossover_hz": 120.0,
        "over_limit_dbtp": 0.0,
    }
    return PassStart(**(known | changes))


def live_pass(*, spec="system", number=1, rate_hz=RATE_HZ):
    """A pass as the engine makes it."""
    return LivePass(
        number=number,
        info=SourceInfo(spec=spec, name="what the machine plays", rate_hz=rate_hz, channels=2),
        rate_hz=rate_hz,
        channels=2,
        weights=(1.0, 1.0),
        crossover_hz=120.0,
        over_limit_dbtp=0.0,
        began_unix_s=time.time(),
    )


parts = st.lists(st.integers(0, 700), min_size=1, max_size=6)
"""How many soundings come at a time."""


class Clock:
    """Seconds since 1970, as a test sets them."""

    def __init__(self, now_s=1_800_000_000.0):
        self.now_s = now_s

    def __call__(self):
        return self.now_s
