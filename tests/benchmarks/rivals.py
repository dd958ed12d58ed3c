"""The two sides of each comparison: one file measured from disk to numbers."""

from __future__ import annotations

from pathlib import Path

import av
import numpy as np

from meter.chain import Chain
from meter.check import Options, check_file
from meter.files import open_audio
from meter.low_end.settings import LowEndSettings
from meter.passes import summarise


def ffmpeg_peak(path: Path) -> None:
    """FFmpeg's ebur128 filter with true peak, decoding included, on one thread."""
    with av.open(str(path)) as container:
        stream = container.streams.audio[0]
        stream.thread_count = 1
        graph = av.filter.Graph()
        source = graph.add_abuffer(template=stream)
        loudness = graph.add("ebur128", "peak=true:metadata=0")
        sink = graph.add("abuffersink")
        source.link_to(loudness)
        loudness.link_to(sink)
        graph.configure()
        for frame in container.decode(stream):
            graph.push(frame)
            _drain(graph)


def _drain(graph: av.filter.Graph) -> None:
    while True:
        try:
            graph.pull()
        except (av.BlockingIOError, av.EOFError):
            return


def decode(path: Path) -> None:
    """Reading and decoding alone, as all of ours do it."""
    with open_audio(path) as audio:
        for _ in audio.blocks(seconds=2.0):
            pass


def levels_and_true_peak(path: Path) -> None:
    """M, S, I, LRA, maxima, full-band sums and true peak on one thread, without the low bands."""
    _chain(path, low_end=False)


def whole_chain(path: Path) -> None:
    """Everything on one thread."""
    _chain(path, low_end=True)


def with_low_end(path: Path) -> None:
    """The same with notes, kicks and what mono does, findings and suggestions, on one thread."""
    check_file(str(path), Options(beside=False, low_end=LowEndSettings()))


def as_check_runs(path: Path) -> None:
    """Everything as ``leadline check`` runs it by default."""
    check_file(str(path), Options(low_end=LowEndSettings()))


def _chain(path: Path, *, low_end: bool) -> None:
    with open_audio(path) as audio:
        chain = Chain(rate_hz=audio.rate_hz, channels=audio.channels, weights=audio.weights, low_end=low_end)
        rows = [chain.process(block) for block in audio.blocks(seconds=2.0)]
        rows.append(chain.flush())
        summarise(np.concatenate(rows), rate_hz=audio.rate_hz, channels=audio.channels, weights=audio.weights)
