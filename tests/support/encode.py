"""Files that FFmpeg makes, for tests of what FFmpeg reads."""

from __future__ import annotations

from pathlib import Path

import av
import numpy as np

from meter.units import Samples


def encode(
    path: Path,
    samples: Samples,
    *,
    codec: str,
    container: str,
    rate_hz: int = 48_000,
    layout: str = "stereo",
    form: str | None = None,
) -> Path:
    """Write samples, float in full scale 1.0, shape (frames, channels)."""
    planes = np.ascontiguousarray(samples.T, np.float32)
    with av.open(str(path), "w", format=container) as file:
        stream = file.add_stream(codec, rate=rate_hz, layout=layout)
        stream.bit_rate = 256_000
        if form is not None:
            stream.codec_context.format = form
        frame = av.AudioFrame.from_ndarray(planes, format="fltp", layout=layout)
        frame.sample_rate, frame.pts = rate_hz, 0
        resampler = av.AudioResampler(format=stream.codec_context.format, layout=layout, rate=rate_hz)
        fifo = av.AudioFifo()
        for part in resampler.resample(frame):
            fifo.write(part)
        size = stream.codec_context.frame_size or 1024
        while fifo.samples:
            file.mux(stream.encode(fifo.read(size, partial=True)))
        file.mux(stream.encode(None))
    return path


def encode_video(path: Path, samples: Samples | None, *, container: str, rate_hz: int = 48_000) -> Path:
    """Half a second of grey pictures, with the sound where there is some."""
    with av.open(str(path), "w", format=container) as file:
        video = file.add_stream("mpeg4", rate=10)
        video.width = video.height = 32
        video.pix_fmt = "yuv420p"
        sound = None if samples is None else file.add_stream("aac", rate=rate_hz, layout="stereo")
        for number in range(5):
            picture = av.VideoFrame.from_ndarray(np.full((32, 32, 3), 99, np.uint8), format="rgb24")
            picture.pts = number
            file.mux(video.encode(picture))
        file.mux(video.encode(None))
        if sound is not None and samples is not None:
            for start in range(0, len(samples), 1024):
                part = np.ascontiguousarray(samples[start : start + 1024].T, np.float32)
                frame = av.AudioFrame.from_ndarray(part, format="fltp", layout="stereo")
                frame.sample_rate, frame.pts = rate_hz, start
                file.mux(sound.encode(frame))
            file.mux(sound.encode(None))
    return path
