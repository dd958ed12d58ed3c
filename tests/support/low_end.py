"""What the tests of the low end share: signals at about 3 kHz, and the kicks in them."""

from __future__ import annotations

import numpy as np

from meter.dsp.kick_body import Body, BodyReader
from meter.low_end.clock import LowClock, low_clock
from meter.low_end.kick_records import Hit
from meter.low_end.kicks import KickHits
from meter.low_end.stream import LowStream
from meter.units import Floats, Samples
from tests.support.low_sink import Kept

SUB_HZ = (30.0, 70.0)


def low_of(samples: Samples, rate_hz: int = 48_000) -> tuple[Floats, LowClock]:
    """A whole signal, shape (frames, channels), at the lower rate, shape (n, 2), and its clock."""
    kept = Kept()
    stream = LowStream(rate_hz=rate_hz, channels=samples.shape[1], sink=kept)
    stream.process(samples.astype(np.float32))
    ((_, low),) = kept.pieces
    return low, low_clock(rate_hz)


def hits_in(samples: Samples, rate_hz: int = 48_000) -> list[Hit]:
    """The kicks of a whole signal, with half a second of silence behind it."""
    silence = np.zeros((rate_hz // 2, samples.shape[1]), np.float32)
    low, clock = low_of(np.concatenate([samples, silence]), rate_hz)
    kicks = KickHits(clock)
    kicks.process(low, 0)
    kicks.flush()
    return list(kicks.reading().hits)


def body_of(kick: Floats, rate_hz: int = 48_000) -> Body:
    """The body of a kick by itself, which begins with its first sample."""
    before = rate_hz // 10
    sound = np.concatenate([np.zeros(before), kick, np.zeros(rate_hz // 2)])
    low, clock = low_of(np.stack([sound, sound], axis=1), rate_hz)
    reader = BodyReader(clock.rate_hz, sub_band_hz=SUB_HZ)
    first = round((before / rate_hz + clock.delay_s) * clock.rate_hz) - reader.before_frames
    piece = low[first : first + reader.frames, 0]
    return reader.read(piece[None], piece[None], np.array([reader.frames]))[0]
