"""EBU Tech 3342 v4 (2023): the test signals of the loudness range as rows.

Steps of 20 s of a 1000 Hz tone in left and right, 48 kHz. Cases 5 and 6 are recorded programmes
that may not be passed on. "Should also pass when repeated": each case is there three times over
too. The table and that sentence were read in a copy (SEEN-S); the ideal values are CALC.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import Final

from meter.standards import cases
from meter.standards.cases import Case, Signal, one
from meter.standards.signals import Step, in_channels, stepped_sine

DOCUMENT: Final = "EBU Tech 3342 v4 (2023)"

TOLERANCE_LU: Final = 1.0
"""Tolerance of every case. Table of minimum requirements. SEEN-S."""

IDEAL_LU: Final = 0.05
"""How near the ideal our own reading has to lie. Our own limit."""

STEP_S: Final = 20.0

LEVELS_DBFS: Final[dict[int, tuple[float, ...]]] = {
    1: (-20.0, -30.0),
    2: (-20.0, -15.0),
    3: (-40.0, -20.0),
    4: (-50.0, -35.0, -20.0, -35.0, -50.0),
}
"""Levels of the steps of each case. SEEN-S."""

EXPECTED_LU: Final[dict[int, float]] = {1: 10.0, 2: 5.0, 3: 20.0, 4: 15.0}
"""Expected loudness range. SEEN-S; CALC gives the same to 0.0001 LU, repeated or not."""


RAMP_STEPS: Final[tuple[Step, ...]] = tuple((0.1, -50.0 + 0.03 * i) for i in range(1001))
"""From -50 to -20 dBFS in 100 s. The cases above read the same with other percentiles and with a
gate that is off; this one moves by 0.7 LU and more for a gate that is 1 LU off. Own construction."""

RAMP_LU: Final = 24.03
"""What it reads; the percentiles step by 0.03 LU. CALC, from the steps alone and by filtering."""


def stereo(number: int, repeats: int = 1) -> Signal:
    """The tone of a case, in left and right."""
    steps = [(STEP_S, level) for level in LEVELS_DBFS[number]] * repeats
    return Signal(samples=in_channels(stepped_sine(steps)), rate_hz=48_000)


def ramp() -> Signal:
    """A tone that grows by 0.03 dB every 100 ms, in left and right."""
    return Signal(samples=in_channels(stepped_sine(RAMP_STEPS)), rate_hz=48_000)


def _case(name: str, clause: str, signal: partial[Signal], expected: float) -> Case:
    return Case(
        name=name,
        document=DOCUMENT,
        clause=clause,
        parts=one(signal),
        reads="LRA",
        take=cases.loudness_range,
        unit="LU",
        expected=expected,
        low=expected - TOLERANCE_LU,
        high=expected + TOLERANCE_LU,
        ideal=expected,
        ideal_within=IDEAL_LU,
        ideal_status="CALC",
    )


def _cases() -> Iterator[Case]:
    for repeats, suffix in ((1, ""), (3, " three times")):
        for number, expected in EXPECTED_LU.items():
            clause = f"table of minimum requirements, case {number}"
            yield _case(f"3342-{number}{suffix}", clause, partial(stereo, number, repeats), expected)
    yield _case("3342 ramp", "gates and percentiles, own construction", partial(ramp), RAMP_LU)


CASES: Final = tuple(_cases())
"""Every row that is made from this document."""
