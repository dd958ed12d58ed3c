"""Pink noise to calibrate with: asked for first, ramped, and never over -20 dBFS.

Source
------
Pink: power falls with 1/f, algebra. What the levels are against: `meter.exposure.sound_levels`.
"""

from __future__ import annotations

import sys
from functools import lru_cache
from typing import Final

import numpy as np

from meter.capture.playing import Playing
from meter.console import say
from meter.errors import UsageError
from meter.exposure.sound_levels import SoundLevels
from meter.units import Floats, db_to_amplitude, power_to_db

LOUDEST_DBFS: Final = -20.0
QUIETEST_DBFS: Final = -60.0
RATE_HZ: Final = 48_000
LOOP_S: Final = 10
RAMP_S: Final = 3.0
LOWEST_HZ, HIGHEST_HZ = 25.0, 16_000.0


@lru_cache(maxsize=1)
def _loop() -> Floats:
    """Ten seconds that join at their ends, mean square 1/2: as a full-scale sine."""
    count = LOOP_S * RATE_HZ
    f_hz = np.fft.rfftfreq(count, 1.0 / RATE_HZ)
    inside = (f_hz >= LOWEST_HZ) & (f_hz <= HIGHEST_HZ)
    size = np.divide(1.0, np.sqrt(f_hz), out=np.zeros_like(f_hz), where=inside)
    phases = np.random.default_rng(1).uniform(0.0, 2.0 * np.pi, len(f_hz))
    wave = np.fft.irfft(size * np.exp(1j * phases), count)
    return np.asarray(wave / np.sqrt(2.0 * np.mean(wave**2)), np.float64)


def checked_level(level_dbfs: float) -> float:
    """The level, where it may be played; `UsageError` elsewhere."""
    if not QUIETEST_DBFS <= level_dbfs <= LOUDEST_DBFS:
        raise UsageError(
            f"the noise was asked for at {level_dbfs:g} dBFS, but it is played from {QUIETEST_DBFS:g} to "
            f"{LOUDEST_DBFS:g} dBFS only; turn the amplifier up instead, slowly"
        )
    return level_dbfs


def pink_noise(
    seconds: float, level_dbfs: float, *, start_s: float = 0.0, end_s: float | None = None
) -> Floats:
    """Noise of an rms level against a full-scale sine, ramped up over 3 s, and down where its end is known.

    Returns
    -------
    ndarray, shape (n,)
        From `start_s` on.
    """
    amplitude = db_to_amplitude(checked_level(level_dbfs))
    at = round(start_s * RATE_HZ) + np.arange(round(seconds * RATE_HZ))
    ramp = np.clip(at / (RAMP_S * RATE_HZ), 0.0, 1.0)
    if end_s is not None:
        ramp = np.minimum(ramp, np.clip((end_s * RATE_HZ - at) / (RAMP_S * RATE_HZ), 0.0, 1.0))
    return np.asarray(amplitude * ramp * _loop()[at % len(_loop())], np.float64)


@lru_cache(maxsize=1)
def _a_weighted_share_db() -> float:
    """A-weighted level of the noise against its level."""
    levels = SoundLevels(rate_hz=RATE_HZ, channels=1)
    seconds = levels.process(np.tile(_loop(), 2)[:, None])[LOOP_S:]
    return power_to_db(float(np.mean([second.a_power[0] for second in seconds])))


def pink_noise_dba(level_dbfs: float) -> float:
    """A-weighted level of the noise, dB against a full-scale sine, of one channel."""
    return checked_level(level_dbfs) + _a_weighted_share_db()


QUESTION: Final = """\
Pink noise of {level:g} dBFS will play through the system's output, rising over {ramp:g} seconds.
Turn the amplifier down now. Take headphones off your ears: put them on the meter.
Then turn it up slowly to the level at which you listen, and read the meter: dBA, slow.
Play it? Type yes: """


def play_after_asking(level_dbfs: float, *, feeds: str) -> float:
    """Ask, play the noise until the reading is typed in, and give the reading in dBA.

    Raises
    ------
    UsageError
        Nobody to ask, no consent, or no number.
    SourceError
        Nothing can be played.
    """
    checked_level(level_dbfs)
    if not sys.stdin.isatty():
        raise UsageError(
            "calibrate plays a noise and asks before, but there is nobody to ask here; give what the meter "
            "read with --read 74, while you play pink noise yourself"
        )
    if input(QUESTION.format(level=level_dbfs, ramp=RAMP_S)).strip().lower() != "yes":
        raise UsageError("nothing was played: that was no yes")
    with _playing(level_dbfs):
        typed = input("The meter reads (dBA, Enter ends the noise): ")
    try:
        return float(typed.strip().removesuffix("dBA").strip())
    except ValueError as error:
        raise UsageError(f"{typed!r} was typed; expected what the meter read in dBA, such as 74") from error


def _playing(level_dbfs: float) -> Playing:
    """The noise on the system's output, until the end of a `with`, and a ramp down."""
    end_s: list[float] = []

    def fill(at: int, frames: int) -> Floats:
        made = pink_noise(
            frames / RATE_HZ, level_dbfs, start_s=at / RATE_HZ, end_s=end_s[0] if end_s else None
        )
        return made[:frames]

    def fade(at: int) -> None:
        say("the noise fades out", sys.stderr)
        end_s.append(at / RATE_HZ + RAMP_S)

    return Playing(fill, rate_hz=RATE_HZ, fade_s=RAMP_S, on_end=fade)
