"""Made-up moments for the page."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from meter.set_watch import SetWatch
from meter.target_file import shipped_targets
from meter.worker import Worker
from tests.support.fake_source import FakeSource

CLUB = shipped_targets()["club"]


def noise(seconds, *, channels=2, gain=0.1):
    """The same noise in every channel but for a little of its own."""
    random = np.random.default_rng(1)
    shared = random.standard_normal((round(seconds * 48_000), 1))
    own = random.standard_normal((len(shared), channels))
    return (gain * (shared + 0.2 * own)).astype(np.float32)


def heard(sound, *, target=CLUB, **how):
    """What is known after a sound, with what is known of the set."""
    source = FakeSource(channels=sound.shape[1], **how)
    watch = SetWatch()
    worker = Worker(source, target=target, on_soundings=lambda rows: watch.take(rows, worker.live_pass))
    source.bring(sound)
    while worker.step() == 0.0:
        pass
    return replace(worker.now, of_set=watch.now)
