"""FFmpeg's ebur128 filter on the very samples that Leadline measures, through PyAV."""

from __future__ import annotations

from dataclasses import dataclass

import av
import numpy as np

from meter.units import Samples, amplitude_to_db

_FRAME = 4096
_LAYOUTS = {1: "mono", 2: "stereo", 6: "5.1"}
_PEAK_GAIN = 64.0
"""Its metadata gives peaks as amplitudes with three decimals: scaled up, they have more."""


@dataclass(frozen=True, slots=True)
class Opinion:
    """What it says of a whole piece."""

    integrated_lufs: float
    loudness_range_lu: float
    true_peaks_dbtp: tuple[float, ...]


def loudness(samples: Samples, *, rate_hz: int) -> tuple[float, float]:
    """FFmpeg's I, LUFS, and LRA, LU, of samples as `opinion` takes them; peaks take it far longer."""
    last = _last_metadata(samples, rate_hz, "metadata=1")
    return float(last["lavfi.r128.I"]), float(last["lavfi.r128.LRA"])


def opinion(samples: Samples, *, rate_hz: int) -> Opinion:
    """FFmpeg's reading of mono, stereo or 5.1 samples (L, R, C, LFE, Ls, Rs), shape (n, channels)."""
    integrated_lufs, loudness_range_lu = loudness(samples, rate_hz=rate_hz)
    loud = _last_metadata(samples * np.float32(_PEAK_GAIN), rate_hz, "metadata=1:peak=true")
    peaks = (
        float(loud[f"lavfi.r128.true_peaks_ch{channel}"]) / _PEAK_GAIN for channel in range(samples.shape[1])
    )
    return Opinion(
        integrated_lufs=integrated_lufs,
        loudness_range_lu=loudness_range_lu,
        true_peaks_dbtp=tuple(amplitude_to_db(peak) for peak in peaks),
    )


def _last_metadata(samples: Samples, rate_hz: int, options: str) -> dict[str, str]:
    graph = av.filter.Graph()
    layout = _LAYOUTS[samples.shape[1]]
    source = graph.add_abuffer(format="fltp", sample_rate=rate_hz, layout=layout)
    loudness = graph.add("ebur128", options)
    sink = graph.add("abuffersink")
    source.link_to(loudness)
    loudness.link_to(sink)
    graph.configure()
    last: dict[str, str] = {}
    for start in range(0, len(samples), _FRAME):
        planes = np.ascontiguousarray(samples[start : start + _FRAME].T, np.float32)
        frame = av.AudioFrame.from_ndarray(planes, format="fltp", layout=layout)
        frame.sample_rate = rate_hz
        frame.pts = start
        graph.push(frame)
        last = _pull(graph) or last
    graph.push(None)
    return _pull(graph) or last


def _pull(graph: av.filter.Graph) -> dict[str, str]:
    found: dict[str, str] = {}
    while True:
        try:
            found = dict(graph.pull().metadata) or found
        except (av.BlockingIOError, av.EOFError):
            return found
