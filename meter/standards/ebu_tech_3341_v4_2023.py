"""EBU Tech 3341 v4 (November 2023), Table 1: the test signals of EBU Mode as rows.

Cases 1-6 and 9-23 are made here from the words of the table. Cases 7 and 8 are recorded
programmes that may not be passed on, so they are not among the rows. Tones are 1000 Hz, in
phase in left and right, at 48 kHz unless a row says otherwise; levels are peak dBFS.

Table 1 was read in a word-for-word copy (SEEN-S). The ideal values are CALC: the same signal
through the printed coefficients of ITU-R BS.1770-5, and for cases 1-5 by formula as well.
True-peak cases: tolerance +0.2/-0.4 dB, Table 1 with section 2.6 (SEEN-S).
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import Final

import numpy as np

from meter.standards import cases
from meter.standards.cases import EBU_MODE_LU, IDEAL_LU, Case, Parts, Signal, Take, Unit, one
from meter.standards.signals import SILENCE, Step, faded, in_channels, sine, stepped_sine
from meter.units import Floats

DOCUMENT: Final = "EBU Tech 3341 v4 (2023)"

TRUE_PEAK_ABOVE_DB: Final = 0.2
"""True peak may read this much over. Section 2.6. SEEN-S."""

TRUE_PEAK_BELOW_DB: Final = 0.4
"""True peak may read this much under: pass-band ripple and under-read. Section 2.6. SEEN-S."""

IDEAL_DB: Final = 0.05
"""How near the ideal true peak our reading of a sine up to 20 kHz has to lie. Our own limit."""

ONE_PERIOD_UP_DBTP: Final = -0.1085
"""True peak of cases 20-23 as made here, the same at all four offsets: the low-pass takes a little
of the 0 dBFS that was put in. CALC by a 32-fold Fourier resampling."""

EDGE_DB: Final = 0.1
"""How near to it ours has to lie: one period is no steady sine and reaches above 20 kHz. Our own."""

OTHER_RATE_LU: Final = 0.05
"""The same for loudness away from 48 kHz: the K response may differ by 0.05 dB. Our own limit."""

SEGMENTS: Final = 20
"""Cases 10, 11, 13 and 14 have segments i = 0 ... 19."""

CLIMB_LUFS: Final = tuple(-38.0 + i for i in range(SEGMENTS))
"""-38, -37 ... -19 successively. Cases 11 and 14."""

STEPS_OF_CASE: Final[dict[str, tuple[Step, ...]]] = {
    "1": ((20.0, -23.0),),
    "2": ((20.0, -33.0),),
    "3": ((10.0, -36.0), (60.0, -23.0), (10.0, -36.0)),
    "4": ((10.0, -72.0), (10.0, -36.0), (60.0, -23.0), (10.0, -36.0), (10.0, -72.0)),
    "5": ((20.0, -26.0), (20.1, -20.0), (20.0, -26.0)),
    "9": ((1.34, -20.0), (1.66, -30.0)) * 5,
    "11": tuple(
        step
        for i, level in enumerate(CLIMB_LUFS)
        for step in ((i * 0.15, SILENCE), (3.0, level), (3.0 - i * 0.15, SILENCE))
    ),
    "12": ((0.18, -20.0), (0.22, -30.0)) * 25,
    "14": tuple(
        step
        for i, level in enumerate(CLIMB_LUFS)
        for step in ((i * 0.02, SILENCE), (0.4, level), (0.4 - i * 0.02, SILENCE))
    ),
}
"""Stereo tones of one part: seconds and level."""

SURROUND_DBFS: Final = (-28.0, -28.0, -24.0, -30.0, -30.0)
"""Case 6: L, R, C, Ls, Rs."""


def stereo(case: str, rate_hz: int = 48_000) -> Signal:
    """The stepped tone of a case in left and right."""
    tone = stepped_sine(STEPS_OF_CASE[case], rate_hz=rate_hz)
    return Signal(samples=in_channels(tone), rate_hz=rate_hz)


def surround() -> Signal:
    """Case 6: five channels, 20 s."""
    tone = sine(1000.0, 20 * 48_000, rate_hz=48_000)
    gains = [10.0 ** (level / 20.0) for level in SURROUND_DBFS]
    return Signal(samples=in_channels(tone, gains), rate_hz=48_000)


def bursts(*, wait_s: float, burst_s: float) -> Iterator[Signal]:
    """Cases 10 and 13: twenty files, each with its burst a little later on the grid."""
    for i in range(SEGMENTS):
        tone = stepped_sine(((i * wait_s, SILENCE), (burst_s, -23.0), (1.0, SILENCE)))
        yield Signal(samples=in_channels(tone), rate_hz=48_000)


def steady_peak(period_frames: int, amplitude: float, phase_deg: float, rate_hz: int = 48_000) -> Signal:
    """Cases 15-19: a sine whose period is a few samples, 10 ms fades. One second, our choice."""
    tone = amplitude * sine(rate_hz / period_frames, rate_hz, rate_hz=rate_hz, phase_deg=phase_deg)
    return Signal(samples=in_channels(faded(tone, fade_s=0.010, rate_hz=rate_hz)), rate_hz=rate_hz)


def joined_periods(rate_hz: int = 48_000) -> Floats:
    """The wave of cases 20-23 at four times the rate, before the low-pass.

    There the periods are 16 and 24 samples, joined at zero crossings so that the phase runs on.
    Half a second on both sides, our choice.
    """
    around = np.tile(0.5 * sine(1.0, 24, rate_hz=24), rate_hz // 12)
    return np.concatenate([around, sine(1.0, 16, rate_hz=16), around])


def one_period_up(offset: int, rate_hz: int = 48_000) -> Signal:
    """Cases 20-23: one period of rate/4 at 1.00 inside rate/6 at 0.50, between the samples.

    Built at four times the rate, low-passed; then every fourth sample is taken from an offset.
    """
    fine = faded(joined_periods(rate_hz), fade_s=0.010, rate_hz=4 * rate_hz)
    return Signal(samples=in_channels(np.convolve(fine, _low_pass())[offset::4]), rate_hz=rate_hz)


def _low_pass() -> Floats:
    """To the middle between 20 and 24 kHz (of 48), Kaiser window, 80 dB down, at four times the rate."""
    places = np.arange(-120, 121)
    taps = np.sinc(places * (2.0 * 22.0 / 192.0)) * np.kaiser(len(places), 8.0)
    return np.asarray(taps / taps.sum(), np.float64)


def _loudness(
    name: str,
    parts: Parts,
    reads: str,
    take: Take,
    expected: float,
    ideal: float,
    *,
    unit: Unit = "LUFS",
    ideal_within: float = IDEAL_LU,
    rate_hz: int = 48_000,
) -> Case:
    number = name.split()[0].split("-")[1]
    return Case(
        name=name,
        document=DOCUMENT,
        clause=f"Table 1, case {number}",
        parts=parts,
        reads=reads,
        take=take,
        unit=unit,
        expected=expected,
        low=expected - EBU_MODE_LU,
        high=expected + EBU_MODE_LU,
        ideal=ideal,
        ideal_within=ideal_within,
        ideal_status="CALC",
        rate_hz=rate_hz,
    )


def _true_peak(
    name: str,
    parts: Parts,
    expected: float,
    ideal: float | None,
    *,
    ideal_within: float | None = IDEAL_DB,
    rate_hz: int = 48_000,
) -> Case:
    number = name.split()[0].split("-")[1]
    return Case(
        name=name,
        document=DOCUMENT,
        clause=f"Table 1, case {number}",
        parts=parts,
        reads="highest true peak",
        take=cases.true_peak,
        unit="dBTP",
        expected=expected,
        low=expected - TRUE_PEAK_BELOW_DB,
        high=expected + TRUE_PEAK_ABOVE_DB,
        ideal=ideal,
        ideal_within=ideal_within if ideal is not None else None,
        ideal_status="CALC",
        rate_hz=rate_hz,
    )


_CASE_1 = one(partial(stereo, "1"))
_CASE_2 = one(partial(stereo, "2"))
_MOMENTARY = cases.momentary_shown(after_s=0.4)
_SHORT_TERM = cases.short_term_shown(after_s=3.0)

LOUDNESS_CASES: Final = (
    _loudness("3341-1 M", _CASE_1, "M at every look after 0.4 s", _MOMENTARY, -23.0, -22.9933),
    _loudness("3341-1 S", _CASE_1, "S at every look after 3 s", _SHORT_TERM, -23.0, -22.9933),
    _loudness("3341-1 I", _CASE_1, "I", cases.integrated, -23.0, -22.9933),
    _loudness("3341-2 M", _CASE_2, "M at every look after 0.4 s", _MOMENTARY, -33.0, -32.9933),
    _loudness("3341-2 S", _CASE_2, "S at every look after 3 s", _SHORT_TERM, -33.0, -32.9933),
    _loudness("3341-2 I", _CASE_2, "I", cases.integrated, -33.0, -32.9933),
    _loudness("3341-3", one(partial(stereo, "3")), "I", cases.integrated, -23.0, -23.0139),
    _loudness("3341-4", one(partial(stereo, "4")), "I", cases.integrated, -23.0, -23.0139),
    _loudness("3341-5", one(partial(stereo, "5")), "I", cases.integrated, -23.0, -22.9787),
    _loudness("3341-6", one(surround), "I, five channels", cases.integrated, -23.0, -23.0163),
    _loudness("3341-9", one(partial(stereo, "9")), "S at every look after 3 s", _SHORT_TERM, -23.0, -22.9863),
    _loudness(
        "3341-10",
        partial(bursts, wait_s=0.15, burst_s=3.0),
        "max S of each of 20 files",
        cases.short_term_max,
        -23.0,
        -22.9933,
    ),
    _loudness(
        "3341-11",
        one(partial(stereo, "11")),
        "max S less -38 ... -19, live",
        cases.short_term_climb(segment_s=6.0, levels_lufs=CLIMB_LUFS),
        0.0,
        0.0067,
        unit="LU",
    ),
    _loudness(
        "3341-12",
        one(partial(stereo, "12")),
        "M at every look after 1 s",
        cases.momentary_shown(after_s=1.0),
        -23.0,
        -22.9604,
    ),
    _loudness(
        "3341-13",
        partial(bursts, wait_s=0.02, burst_s=0.4),
        "max M of each of 20 files",
        cases.momentary_max,
        -23.0,
        -22.9936,
    ),
    _loudness(
        "3341-14",
        one(partial(stereo, "14")),
        "max M less -38 ... -19, live",
        cases.momentary_climb(segment_s=0.8, levels_lufs=CLIMB_LUFS),
        0.0,
        0.0064,
        unit="LU",
    ),
)

TRUE_PEAK_CASES: Final = (
    _true_peak("3341-15", one(partial(steady_peak, 4, 0.50, 0.0)), -6.0, -6.0206),
    _true_peak("3341-16", one(partial(steady_peak, 4, 0.50, 45.0)), -6.0, -6.0206),
    _true_peak("3341-17", one(partial(steady_peak, 6, 0.50, 60.0)), -6.0, -6.0206),
    _true_peak("3341-18", one(partial(steady_peak, 8, 0.50, 67.5)), -6.0, -6.0206),
    _true_peak("3341-19", one(partial(steady_peak, 4, 1.41, 45.0)), 3.0, 2.9844),
    _true_peak("3341-20", one(partial(one_period_up, 0)), 0.0, ONE_PERIOD_UP_DBTP, ideal_within=EDGE_DB),
    _true_peak("3341-21", one(partial(one_period_up, 1)), 0.0, ONE_PERIOD_UP_DBTP, ideal_within=EDGE_DB),
    _true_peak("3341-22", one(partial(one_period_up, 2)), 0.0, ONE_PERIOD_UP_DBTP, ideal_within=EDGE_DB),
    _true_peak("3341-23", one(partial(one_period_up, 3)), 0.0, ONE_PERIOD_UP_DBTP, ideal_within=EDGE_DB),
)


def _at_other_rates() -> Iterator[Case]:
    """The document speaks of 48 kHz; these rows ask the same of 44.1 and 96 kHz."""
    for rate_hz, rate in ((44_100, "44.1 kHz"), (96_000, "96 kHz")):
        yield _loudness(
            f"3341-1 I {rate}",
            one(partial(stereo, "1", rate_hz)),
            "I",
            cases.integrated,
            -23.0,
            -22.9933,
            ideal_within=OTHER_RATE_LU,
            rate_hz=rate_hz,
        )
        for number, period, phase_deg in ((15, 4, 0.0), (16, 4, 45.0), (17, 6, 60.0), (18, 8, 67.5)):
            # A quarter of 96 kHz is 24 kHz, above what our own limit promises.
            promised = rate_hz / period <= 20_000
            yield _true_peak(
                f"3341-{number} {rate}",
                one(partial(steady_peak, period, 0.50, phase_deg, rate_hz)),
                -6.0,
                -6.0206 if promised else None,
                rate_hz=rate_hz,
            )


CASES: Final = (*LOUDNESS_CASES, *TRUE_PEAK_CASES, *_at_other_rates())
"""Every row that is made from this document."""
