"""What is played when: tempo, sections, drum grid, bass lines, chords.

Bars are counted from 1, as people count them; a bar has 16 steps. Data only: how a hit
sounds is in `instruments`, how hits are put together is in `render`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

BPM: Final = 174.0
"""Tempo. Drum & bass is given as 160-180 BPM (facts of the trade; tempo charts)."""

RATE_HZ: Final = 48_000

FIRST_DOWNBEAT_S: Final = 0.5
"""Where bar 1 begins; digital silence before it."""

TAIL_S: Final = 1.5
"""What rings on after the last bar."""

STEPS_A_BAR: Final = 16
BAR_S: Final = 4 * 60.0 / BPM
STEP_S: Final = BAR_S / STEPS_A_BAR

SWING_STEPS: Final = 0.14
"""Every second sixteenth comes late by this share of a step."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """A part of the tune: bars `start_bar` to `end_bar`, both included."""

    name: str
    start_bar: int
    end_bar: int

    def __contains__(self, bar: int) -> bool:
        return self.start_bar <= bar <= self.end_bar

    @property
    def bars(self) -> range:
        """The numbers of its bars."""
        return range(self.start_bar, self.end_bar + 1)


INTRO: Final = Section(name="intro", start_bar=1, end_bar=16)
BUILD: Final = Section(name="build", start_bar=17, end_bar=24)
DROP_A: Final = Section(name="drop A", start_bar=25, end_bar=56)
BREAKDOWN: Final = Section(name="breakdown", start_bar=57, end_bar=72)
DROP_B: Final = Section(name="drop B", start_bar=73, end_bar=104)
OUTRO: Final = Section(name="outro", start_bar=105, end_bar=112)
SECTIONS: Final = (INTRO, BUILD, DROP_A, BREAKDOWN, DROP_B, OUTRO)


def bar_to_s(bar: float, step: float = 0.0) -> float:
    """Time of a step of a bar (bars from 1, steps from 0), without swing."""
    return FIRST_DOWNBEAT_S + (bar - 1) * BAR_S + step * STEP_S


def midi_to_hz(midi: float) -> float:
    """Equal temperament, A4 = 440 Hz = MIDI 69 (ISO 16:1975, known second-hand)."""
    return float(440.0 * 2.0 ** ((midi - 69.0) / 12.0))


@dataclass(frozen=True, slots=True)
class Hit:
    """One drum hit."""

    bar: int
    step: int
    at_s: float
    velocity: float


@dataclass(frozen=True, slots=True)
class Note:
    """One bass note, pad chord tone or bell; `seconds` is how long it is held."""

    bar: int
    step: int
    at_s: float
    seconds: float
    midi: int
    velocity: float = 1.0


# Two drum bars of our own: step -> velocity. Small velocities are the ghost notes.
_KICKS: Final = ({0: 1.0, 10: 0.95}, {0: 1.0, 10: 1.0})
_SNARES: Final = (
    {4: 1.0, 7: 0.16, 9: 0.22, 12: 1.0, 15: 0.18},
    {4: 1.0, 6: 0.12, 9: 0.26, 12: 1.0, 14: 0.2, 15: 0.3},
)
_HATS: Final = (
    {0: 0.8, 2: 0.55, 3: 0.25, 4: 0.7, 6: 0.6, 8: 0.8, 10: 0.6, 11: 0.3, 12: 0.7, 14: 0.6},
    {0: 0.8, 1: 0.2, 2: 0.6, 4: 0.7, 6: 0.6, 7: 0.3, 8: 0.8, 10: 0.5, 12: 0.7, 13: 0.25, 14: 0.65},
)
_FILL: Final = {8: 0.5, 10: 0.6, 11: 0.45, 12: 1.0, 13: 0.6, 14: 0.75, 15: 0.9}
"""Snares of the second half of every eighth bar."""


def _swung_s(bar: int, step: int, jitter_s: float = 0.0) -> float:
    return bar_to_s(bar, step + (SWING_STEPS if step % 2 else 0.0)) + jitter_s


def _has_drums(bar: int) -> bool:
    return bar in DROP_A or bar in DROP_B or bar in OUTRO or 9 <= bar <= INTRO.end_bar


def kicks() -> Iterator[Hit]:
    """Kicks, on the grid: nothing else is as exact, so that the sub can duck under them."""
    for section in SECTIONS:
        for bar in filter(_has_drums, section.bars):
            for step, velocity in _KICKS[bar % 2].items():
                yield Hit(bar, step, bar_to_s(bar, step), velocity)


def snares() -> Iterator[Hit]:
    """Backbeat, ghost notes, fills, and the roll of the build."""
    jitter = np.random.Generator(np.random.PCG64(11))
    for section in SECTIONS:
        for bar in section.bars:
            for step, velocity in _snare_steps(bar).items():
                yield Hit(bar, step, _swung_s(bar, step, 0.003 * jitter.random()), velocity)


def _snare_steps(bar: int) -> dict[int, float]:
    if bar in BUILD:
        return _roll_steps(bar)
    if not _has_drums(bar):
        return {}
    steps = _SNARES[bar % 2]
    if bar % 8 == 0:
        return {step: v for step, v in steps.items() if step < 8} | _FILL
    return steps


def _roll_steps(bar: int) -> dict[int, float]:
    """Quarters, eighths, sixteenths; two beats of air before the drop."""
    bars_in = bar - BUILD.start_bar
    every = (4, 4, 4, 4, 2, 2, 1, 1)[bars_in]
    until = 8 if bar == BUILD.end_bar else STEPS_A_BAR
    return {step: 0.25 + 0.05 * bars_in + 0.01 * step for step in range(0, until, every)}


def hats() -> Iterator[Hit]:
    """Closed hats, shuffled, with loose timing."""
    jitter = np.random.Generator(np.random.PCG64(12))
    for section in SECTIONS:
        if section in (BUILD, BREAKDOWN):
            continue
        for bar in section.bars:
            for step, velocity in _HATS[bar % 2].items():
                yield Hit(bar, step, _swung_s(bar, step, 0.004 * jitter.random()), velocity)


def rides() -> Iterator[Hit]:
    """A ride on the off-beats in the second half of each drop."""
    for section in (DROP_A, DROP_B):
        for bar in section.bars[16:]:
            for step in (2, 6, 10, 14):
                yield Hit(bar, step, bar_to_s(bar, step), 0.8)


def crashes() -> Iterator[Hit]:
    """A crash on the first beat of each drop, and of its second half."""
    for section in (DROP_A, DROP_B):
        for bar in (section.start_bar, section.start_bar + 16):
            yield Hit(bar, 0, bar_to_s(bar), 1.0)
    for section in (BREAKDOWN, OUTRO):
        yield Hit(section.start_bar, 0, bar_to_s(section.start_bar), 0.5)


CHORDS: Final[tuple[tuple[int, ...], ...]] = (
    (53, 56, 60, 67),
    (53, 56, 61, 65),
    (51, 56, 60, 63),
    (51, 55, 58, 65),
)
"""F minor with the ninth, D flat, A flat, E flat with the ninth: two bars each."""

_ROOTS: Final = (29, 37, 32, 27)
"""F1, D flat 2, A flat 1, E flat 1: 43.65, 69.30, 51.91, 38.89 Hz."""

# Eight bars of sub for each drop: (first step, steps, MIDI).
_HELD: Final = ((0, 10), (10, 6))
_LINE_A: Final = tuple(
    bar
    for root, walk in zip(_ROOTS, ((32, 31), (36, 36), (34, 32), (31, 34)), strict=True)
    for bar in (
        tuple((step, steps, root) for step, steps in _HELD),
        ((0, 10, root), (10, 3, walk[0]), (13, 3, walk[1])),
    )
)
_LINE_B: Final = tuple(
    bar
    for root, walk in zip(_ROOTS, ((32, 31), (36, 32), (34, 32), (31, 34)), strict=True)
    for bar in (
        tuple((step, steps, root) for step, steps in _HELD),
        ((0, 6, root), (6, 4, root), (10, 3, walk[0]), (13, 3, walk[1])),
    )
)


def chord_of(bar: int) -> tuple[int, ...]:
    """The chord of a bar."""
    return CHORDS[(bar - 1) % 8 // 2]


def bass_line() -> Iterator[Note]:
    """Sub notes of both drops, and the long quiet ones of the breakdown."""
    yield from _drop_line(DROP_A, _LINE_A)
    for bar in BREAKDOWN.bars[0:14:2]:
        root = _ROOTS[(bar - 1) % 8 // 2]
        yield Note(bar, 0, bar_to_s(bar), 2 * BAR_S, root, 0.42)
    yield from _drop_line(DROP_B, _LINE_B)


def _drop_line(section: Section, line: Sequence[Sequence[tuple[int, int, int]]]) -> Iterator[Note]:
    for bar in section.bars:
        for step, steps, midi in line[(bar - 1) % 8]:
            yield Note(bar, step, bar_to_s(bar, step), steps * STEP_S, midi)


def bells() -> Iterator[Note]:
    """An arpeggio of chord tones, an octave up, in a rhythm of three against four."""
    for section in SECTIONS:
        for bar in section.bars:
            chord = chord_of(bar)
            for step in range((bar * STEPS_A_BAR) % 3, STEPS_A_BAR, 3):
                tone = (bar * STEPS_A_BAR + step) // 3
                yield Note(bar, step, _swung_s(bar, step), 3 * STEP_S, chord[tone * 3 % 4] + 12)
