"""ITU-R BS.2217-2 (2016): compliance material, made in its style, and what BS.1770-5 states itself.

The Report's files are not passed on here. Its file names and targets were read in a copy
(SEEN-S), tolerance 0.1 LKFS (SEEN-S); the signals are our own construction for the same purpose.
The Report gives tone levels to whole decibels only, so each level is worked out from the printed
K-weighting to read the target exactly (CALC). The gate signals have steps of our own whose loudness
follows by formula (`signals.gated_lufs_of_steps`, CALC). Layouts beyond 5.1, speech and the sweep
are left out.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from functools import partial
from typing import Final

from meter.standards import cases
from meter.standards.cases import EBU_MODE_LU, IDEAL_LU, Case, Signal, one
from meter.standards.itu_r_bs1770_5_2023 import (
    CALIBRATION_HZ,
    CALIBRATION_LKFS,
    WEIGHTS,
    sine_lufs,
)
from meter.standards.itu_r_bs1770_5_2023 import DOCUMENT as BS1770
from meter.standards.signals import SILENCE, Step, in_channels, sine, stepped_sine
from meter.units import db_to_amplitude

DOCUMENT: Final = "ITU-R BS.2217-2 (2016)"

TONES_HZ: Final = (25.0, 100.0, 500.0, 1000.0, 2000.0, 10_000.0)
"""Frequencies of the tone files. SEEN-S."""

TARGETS_LUFS: Final = (-24.0, -23.0)
"""Every file but the gate tests and the sweep comes at both. SEEN-S."""

SURROUND_ORDER: Final = ("left", "right", "centre", "LFE", "left surround", "right surround")
"""Channels of the six-channel files. The order is that of a WAVE file; from memory."""

REL_GATE_STEPS: Final[tuple[Step, ...]] = (
    (10.0, -21.95),
    (10.0, -20.95),
    (20.0, -7.15),
    (10.0, -20.95),
    (10.0, -21.95),
)
"""The inner quiet steps lie 0.4 LU above the relative gate and count, the outer ones 0.6 LU below
it and do not. A gate of -9 LU would read -7.2, one of -11 LU -11.6. Own construction."""

REL_GATE_LUFS: Final = -10.0
"""What the Report's own gate file reads (SEEN-S); the steps above are laid out for it."""

ABS_GATE_STEPS: Final[tuple[Step, ...]] = (
    (5.0, SILENCE),
    *((5.0, -70.5), (5.0, -69.48)) * 3,
    (5.0, -70.5),
    (5.0, SILENCE),
)
"""Bursts just over -70 LUFS count, the floor just under it does not. Own construction."""

ABS_GATE_LUFS: Final = -69.5
"""What the Report's own gate file reads (SEEN-S); the steps above are laid out for it."""


def exact_dbfs(target_lufs: float, f_hz: float, weight: float) -> float:
    """Peak level at which a tone in channels of this total weight reads the target. CALC."""
    return target_lufs - sine_lufs(f_hz, 0.0, weight=weight)


def tone(f_hz: float, gains_db: Sequence[float], seconds: float = 20.0) -> Signal:
    """A steady tone, its peak in each channel in dBFS."""
    mono = sine(f_hz, round(seconds * 48_000), rate_hz=48_000)
    return Signal(samples=in_channels(mono, [db_to_amplitude(gain) for gain in gains_db]), rate_hz=48_000)


def stereo_steps(steps: Sequence[Step]) -> Signal:
    """A stepped 1 kHz tone in left and right."""
    return Signal(samples=in_channels(stepped_sine(steps)), rate_hz=48_000)


def phase_reversed(level_dbfs: float) -> Signal:
    """A 1 kHz tone with the right channel inverted."""
    mono = sine(1000.0, 20 * 48_000, rate_hz=48_000) * db_to_amplitude(level_dbfs)
    return Signal(samples=in_channels(mono, (1.0, -1.0)), rate_hz=48_000)


def only(channel: int, level_dbfs: float, channels: int = 6) -> tuple[float, ...]:
    """Levels of which one alone is not silent."""
    return tuple(level_dbfs if place == channel else SILENCE for place in range(channels))


def _case(
    name: str,
    clause: str,
    signal: partial[Signal],
    expected: float,
    ideal: float,
    *,
    document: str = DOCUMENT,
) -> Case:
    return Case(
        name=name,
        document=document,
        clause=clause,
        parts=one(signal),
        reads="I",
        take=cases.integrated,
        unit="LUFS",
        expected=expected,
        low=expected - EBU_MODE_LU,
        high=expected + EBU_MODE_LU,
        ideal=ideal,
        ideal_within=IDEAL_LU,
        ideal_status="CALC",
    )


def _tones() -> Iterator[Case]:
    for target in TARGETS_LUFS:
        for f_hz in TONES_HZ:
            level = exact_dbfs(target, f_hz, 2.0)
            yield _case(
                f"2217 tone {f_hz:g} Hz at {target:g}",
                f"file {-target:g}LKFS_{f_hz:g}Hz_2ch",
                partial(tone, f_hz, (level, level)),
                target,
                target,
            )


def _channels() -> Iterator[Case]:
    weights = WEIGHTS[6]
    for target in TARGETS_LUFS:
        level = exact_dbfs(target, 1000.0, sum(weights))
        yield _case(
            f"2217 summing at {target:g}",
            f"file {-target:g}LKFS_SummingTest",
            partial(tone, 1000.0, (level,) * 6, 10.0),
            target,
            target,
        )
        for channel, (name, weight) in enumerate(zip(SURROUND_ORDER, weights, strict=True)):
            counts = weight > 0.0
            level = exact_dbfs(target, 1000.0, weight) if counts else -3.0
            reading = target if counts else -math.inf
            yield _case(
                f"2217 {name} at {target:g}" if counts else f"2217 {name} alone ({target:g} file)",
                f"file {-target:g}LKFS_ChannelCheck, {name}",
                partial(tone, 1000.0, only(channel, level), 10.0),
                reading,
                reading,
            )


def _gates() -> Iterator[Case]:
    yield _case(
        "2217 relative gate",
        "RelGateTest, own construction",
        partial(stereo_steps, REL_GATE_STEPS),
        REL_GATE_LUFS,
        -9.9865,
    )
    yield _case(
        "2217 absolute gate",
        "AbsGateTest, own construction",
        partial(stereo_steps, ABS_GATE_STEPS),
        ABS_GATE_LUFS,
        -69.5001,
    )


def _stated_by_bs1770() -> Iterator[Case]:
    rows = (
        ("1770 full scale, left alone", "calibration", tone, (CALIBRATION_HZ, only(0, 0.0, 2)), -3.0103),
        ("1770 full scale, centre alone", "calibration", tone, (CALIBRATION_HZ, only(2, 0.0)), -3.0103),
        ("1770 one channel", "loudness equation", tone, (1000.0, (-23.0,)), -26.0036),
        ("1770 right inverted", "loudness equation", phase_reversed, (-23.0,), -22.9933),
        ("1770 just over the gate", "absolute gate", tone, (1000.0, (-69.9, -69.9)), -69.8933),
        ("1770 just under the gate", "absolute gate", tone, (1000.0, (-70.1, -70.1)), -math.inf),
    )
    for name, clause, maker, arguments, ideal in rows:
        expected = CALIBRATION_LKFS if clause == "calibration" else ideal
        yield _case(name, f"Annex 1, {clause}", partial(maker, *arguments), expected, ideal, document=BS1770)


CASES: Final = (*_tones(), *_channels(), *_gates(), *_stated_by_bs1770())
"""Every row that is made from these documents."""
