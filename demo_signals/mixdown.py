"""The tune put together: hits and notes into one mix, the mix through the mastering stage.

`render` gives the whole tune, always the same samples: float32, (frames, 2), at `RATE_HZ`.
"""

from __future__ import annotations

import ctypes
import sys
import tempfile
import threading
from collections.abc import Iterator
from functools import lru_cache
from typing import IO, Final

import numpy as np
import numpy.typing as npt

from demo_signals import faults, instruments, pattern
from demo_signals.instruments import Sound
from demo_signals.mastering import Block, limit, remove_dc, saturate
from demo_signals.pattern import BREAKDOWN, BUILD, DROP_A, DROP_B, INTRO, OUTRO, RATE_HZ, bar_to_s, midi_to_hz
from meter.errors import UsageError
from meter.units import db_to_amplitude

KICK_GAIN: Final = 0.95
SNARE_GAIN: Final = 1.05
HAT_GAIN: Final = 0.45
RIDE_GAIN: Final = 0.2
CRASH_GAIN: Final = 0.3
SUB_GAIN: Final = 0.38
GROWL_GAIN: Final = 0.8
PAD_GAIN: Final = 0.34
BELL_GAIN: Final = 0.3

DRIVE_DB: Final = 1.4
"""Gain into the mastering stage; set so that the loudest sound 30 s read about -7.5 LUFS."""

DUCK_HOLD_S: Final = 0.07
DUCK_END_S: Final = 0.13
"""Everything tonal makes room for this long under each kick: common practice, no source."""


def duration_s() -> float:
    """Length of the tune, silence before the first bar and tail included."""
    return frames() / RATE_HZ


def frames() -> int:
    """Frames of the tune."""
    return round((bar_to_s(OUTRO.end_bar + 1) + pattern.TAIL_S) * RATE_HZ)


@lru_cache(maxsize=1)
def render() -> npt.NDArray[np.float32]:
    """The whole tune.

    Returns
    -------
    float32 array, shape (frames, 2), full scale 1.0, at 48 kHz. The array is kept and
    given again at the next call, so it cannot be written to: copy it to change it.
    The samples are equal bit by bit on one machine, and to 1e-6 elsewhere.
    """
    kept = _kept() if _kept.cache_info().currsize else None
    mix = made() if kept is None else kept.read(0, frames())
    mix.setflags(write=False)
    return mix


def made() -> npt.NDArray[np.float32]:
    """The whole tune, made anew."""
    mix = np.zeros((frames(), 2), np.float32)
    ducked = _duck_curve()
    _mix_drums(mix)
    _mix_bass(mix, ducked)
    _mix_air(mix, ducked)
    _one_side_lower(mix)
    _drive(mix)
    saturate(mix)
    remove_dc(mix)
    limit(mix)
    _plant_overs(mix)
    _growl.cache_clear()
    _bell.cache_clear()
    return mix


def stream(block_frames: int) -> Iterator[npt.NDArray[np.float32]]:
    """The tune in blocks of `block_frames` frames, the last one shorter.

    Who plays it for hours needs no 60 MB of it in memory: it is made once and kept in a temporary
    file, which goes with the program.

    Raises
    ------
    UsageError
        When `block_frames` is less than 1.
    """
    if block_frames < 1:
        raise UsageError(f"block_frames is {block_frames}; give 1 or more frames a block")
    return _blocks(block_frames)


def _blocks(block_frames: int) -> Iterator[npt.NDArray[np.float32]]:
    kept = None if render.cache_info().currsize else _kept()
    for start in range(0, frames(), block_frames):
        count = min(block_frames, frames() - start)
        yield render()[start : start + count] if kept is None else kept.read(start, count)


class _Kept:
    """The tune in a temporary file without a name; any thread may read it."""

    def __init__(self, file: IO[bytes]) -> None:
        self._lock = threading.Lock()
        self._file = file

    def __del__(self) -> None:
        self._file.close()

    def write(self, tune: npt.NDArray[np.float32]) -> None:
        """Put it there; raises OSError."""
        self._file.write(tune.data.cast("B"))
        self._file.flush()

    def read(self, first: int, count: int) -> npt.NDArray[np.float32]:
        """So many frames from one on."""
        size = 2 * np.dtype(np.float32).itemsize
        with self._lock:
            self._file.seek(first * size)
            found = self._file.read(count * size)
        return np.frombuffer(found, np.float32).reshape(-1, 2)


@lru_cache(maxsize=1)
def _kept() -> _Kept | None:
    """The file with the tune, made at the first call; None where none can be written."""
    from demo_signals import apart

    try:
        file = tempfile.TemporaryFile()  # noqa: SIM115  # closed with the program
        if apart.made_into(file):
            return _Kept(file)
        file.seek(0)
        file.truncate()
        kept = _Kept(file)
        kept.write(made())
        return kept
    except OSError:
        return None
    finally:
        _give_back()


def _give_back() -> None:
    """Let the C library return what the instruments took: of its own accord glibc keeps 30 MB of it."""
    if sys.platform.startswith("linux"):
        trim = getattr(ctypes.CDLL(None), "malloc_trim", None)
        if trim is not None:
            trim(0)


def _add(mix: Block, sound: Sound, at_s: float, gain: float, duck: Block | None = None) -> None:
    start = round(at_s * RATE_HZ)
    stop = min(start + len(sound), len(mix))
    wide = sound[: stop - start] if sound.ndim == 2 else sound[: stop - start, None]
    shaped = gain * wide if duck is None else gain * wide * duck[start:stop, None]
    mix[start:stop] += shaped.astype(np.float32)


def _duck_curve() -> Block:
    """1 where nothing ducks, near 0 right under a kick; shape (frames,)."""
    hold, end = round(DUCK_HOLD_S * RATE_HZ), round(DUCK_END_S * RATE_HZ)
    dip = np.zeros(end, np.float32)
    dip[hold:] = 0.5 - 0.5 * np.cos(np.pi * np.arange(end - hold) / (end - hold))
    early = round(0.003 * RATE_HZ)
    shape = np.concatenate((np.linspace(1.0, 0.0, early, dtype=np.float32), dip))
    curve = np.ones(frames(), np.float32)
    for hit in pattern.kicks():
        start = round(hit.at_s * RATE_HZ) - early
        curve[start : start + len(shape)] *= shape
    return curve


def _mix_drums(mix: Block) -> None:
    kicks = {low: instruments.kick(faults.kick_body_hz(low)) for low in (False, True)}
    for hit in pattern.kicks():
        low = faults.LOW_KICK.holds_bar(hit.bar)
        _add(mix, kicks[low], hit.at_s, KICK_GAIN * hit.velocity)
    full, ghost = instruments.snare(21), instruments.snare(31)
    for hit in pattern.snares():
        _add(mix, full if hit.velocity > 0.4 else ghost, hit.at_s, SNARE_GAIN * hit.velocity)
    closed = [instruments.hat(0.022, 40 + k) for k in range(5)]
    for count, hit in enumerate(pattern.hats()):
        _add(mix, closed[count % len(closed)], hit.at_s, HAT_GAIN * hit.velocity)
    ride, crash = instruments.hat(0.11, 50), instruments.crash(60)
    for hit in pattern.rides():
        _add(mix, ride, hit.at_s, RIDE_GAIN * hit.velocity)
    for hit in pattern.crashes():
        _add(mix, crash, hit.at_s, CRASH_GAIN * hit.velocity)


def _mix_bass(mix: Block, ducked: Block) -> None:
    for note in pattern.bass_line():
        hz = midi_to_hz(note.midi)
        _add(mix, instruments.sub_note(faults.sub_hz(note), note.seconds, faults.sub_between_deg(note)),
             note.at_s, SUB_GAIN * note.velocity, ducked)  # fmt: skip
        if note.bar not in BREAKDOWN:
            _add(mix, _growl(hz, note.seconds), note.at_s, GROWL_GAIN, ducked)


@lru_cache(maxsize=64)
def _growl(hz: float, seconds: float) -> Sound:
    return instruments.growl(4 * hz if hz < 50.0 else 2 * hz, seconds, 1 / (4 * pattern.STEP_S))


_PAD_GAINS: Final = {INTRO: 0.8, BUILD: 1.0, DROP_A: 0.55, BREAKDOWN: 1.3, DROP_B: 0.6, OUTRO: 0.7}
_BELL_GAINS: Final = {INTRO: 0.5, BUILD: 0.7, DROP_A: 0.35, BREAKDOWN: 1.0, DROP_B: 0.5, OUTRO: 0.5}


def _mix_air(mix: Block, ducked: Block) -> None:
    """Pads, bells and the riser of the build."""
    chords = {c: instruments.pad(tuple(map(midi_to_hz, c)), 2 * pattern.BAR_S) for c in pattern.CHORDS}
    for section, gain in _PAD_GAINS.items():
        for bar in section.bars[::2]:
            _add(mix, chords[pattern.chord_of(bar)], bar_to_s(bar), PAD_GAIN * gain, ducked)
    for note in pattern.bells():
        gain = next(g for s, g in _BELL_GAINS.items() if note.bar in s)
        side = 0.6 if note.step % 2 else -0.6
        _add(mix, _bell(note.midi, side), note.at_s, BELL_GAIN * gain, ducked)
    rise_s = 6 * pattern.BAR_S
    _add(mix, instruments.riser(rise_s, 70), bar_to_s(BUILD.end_bar + 1) - rise_s, 0.3)


@lru_cache(maxsize=64)
def _bell(midi: int, side: float) -> Sound:
    return instruments.bell(midi_to_hz(midi), side)


def _scaled(mix: Block, fault: faults.Fault, gain: npt.NDArray[np.float64]) -> None:
    """Multiply a fault's stretch by a gain for each channel, with ramps of 20 ms inside it."""
    start, stop = round(fault.start_s * RATE_HZ), round(fault.end_s * RATE_HZ)
    ramp = round(0.02 * RATE_HZ)
    share = np.minimum(1.0, np.minimum(np.arange(stop - start), np.arange(stop - start)[::-1]) / ramp)
    mix[start:stop] *= (1.0 + share[:, None] * (gain - 1.0)).astype(np.float32)


def _one_side_lower(mix: Block) -> None:
    _scaled(mix, faults.ONE_SIDED, np.array([1.0, db_to_amplitude(-faults.SIDE_DROP_DB)]))


def _drive(mix: Block) -> None:
    mix *= np.float32(db_to_amplitude(DRIVE_DB))
    _scaled(mix, faults.TOO_LOUD, np.array([1.0, 1.0]) * db_to_amplitude(faults.HOT_DRIVE_DB))


def _plant_overs(master: Block) -> None:
    """Short bursts at a quarter of the rate, half a sample off their peaks.

    The samples see 1/sqrt(2) of such a wave, so they stay under full scale while the wave
    between them passes it. The tune steps back for the few milliseconds.
    """
    length = round(0.004 * RATE_HZ)
    window = np.sin(np.pi * (np.arange(length) + 0.5) / length) ** 2
    burst = faults.OVER_AMPLITUDE * window * np.sin(np.pi / 2 * np.arange(length) + np.pi / 4)
    for at_s in faults.OVERS.at_s:
        start = round(at_s * RATE_HZ) - length // 2
        part = master[start : start + length]
        part *= (1.0 - window[:, None]).astype(np.float32)
        part += burst[:, None].astype(np.float32)
