"""Another program that plays into JACK: silence until its standard input ends, then a file.

``python jack_player.py FILE`` says that it plays when it is an input of JACK.
"""

from __future__ import annotations

import os
import sys
import threading
import time

import numpy as np
import sounddevice
import soundfile

TAIL_S = 1.0


def main() -> None:
    samples, rate_hz = soundfile.read(sys.argv[1], dtype="float32")
    tail = np.zeros((round(TAIL_S * rate_hz), samples.shape[1]), np.float32)
    samples = np.concatenate([samples, tail])
    played = [0]
    may_go = threading.Event()

    def give(block: np.ndarray, frames: int, when: object, status: object) -> None:
        if not may_go.is_set():
            block[:] = 0.0
            return
        part = samples[played[0] : played[0] + frames]
        block[: len(part)] = part
        block[len(part) :] = 0.0
        played[0] += frames

    hosts = sounddevice.query_hostapis()
    (device,) = [host["default_output_device"] for host in hosts if host["name"].startswith("JACK")]
    with sounddevice.OutputStream(
        device=device, channels=samples.shape[1], samplerate=rate_hz, dtype="float32", callback=give
    ):
        print("playing", flush=True)
        sys.stdin.read()
        may_go.set()
        while played[0] < len(samples):
            time.sleep(0.05)
        os._exit(0)  # a JACK that has died would hold a farewell for ever


if __name__ == "__main__":
    main()
