"""The proof: every row of `meter.standards` made, measured and judged on this machine.

A reading is held against the limit of its document and, where one is known, against the reading
of an ideal meter. The demo excerpts are read by an independent library (pyloudnorm) too: a second
opinion in the same table. `meter.prove` prints what comes out.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property, partial
from itertools import groupby
from pathlib import Path
from typing import Final

import numpy as np

from meter.soundings import Summary
from meter.standards import cases, ebu_tech_3341_v4_2023, ebu_tech_3342_v4_2023, itu_r_bs2217_2_2016
from meter.standards.cases import Case, Glance, Measured, Signal
from meter.units import Floats

LOG: Final = logging.getLogger("meter.proof")

LOOKS_A_SECOND: Final = 20
"""A live meter is looked at every 50 ms, as often as the window shows M."""

SECOND_OPINION_LU: Final = 0.02
"""How near the second opinion has to lie at 48 kHz. Our own limit."""

SECOND_OPINION_OTHER_RATE_LU: Final = 0.05
"""The same at other rates, for which BS.1770-5 prints no coefficients. Our own limit."""

Progress = Callable[[int, int, str], None]
"""Called before each row: how many are done, how many there are, the name of the next."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ProofRow:
    """One row of the table. ``read`` is the value furthest from the ideal; None: no reading."""

    case: Case
    read: float | None
    lowest: float | None
    highest: float | None
    missed: str | None

    @property
    def verdict(self) -> str:
        """The word in the table: inside, or missed with what was missed."""
        return "inside" if self.missed is None else f"missed: {self.missed}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof:
    """The rows, how long they took, and why there was no second opinion (None: there was)."""

    rows: tuple[ProofRow, ...]
    seconds: float
    no_second_opinion: str | None

    @property
    def missed(self) -> int:
        """Number of rows that missed."""
        return sum(row.missed is not None for row in self.rows)

    @property
    def passed(self) -> bool:
        """Whether there are rows at all, and none missed."""
        return bool(self.rows) and not self.missed


class ByChain:
    """What our chain makes of one signal; a new chain each time, so nothing is left over."""

    def __init__(self, signal: Signal) -> None:
        self._signal = signal

    @cached_property
    def _summary(self) -> Summary:
        from meter.passes import measure

        signal = self._signal
        return measure(signal.samples, rate_hz=signal.rate_hz, weights=signal.weights)

    def summary(self) -> Summary:
        """The numbers of the signal as a file."""
        return self._summary

    @cached_property
    def _glances(self) -> list[Glance]:
        from meter.chain import Chain

        samples, rate_hz = self._signal.samples, self._signal.rate_hz
        chain = Chain(rate_hz=rate_hz, channels=samples.shape[1], weights=self._signal.weights)
        hop_frames = rate_hz // LOOKS_A_SECOND
        shown = []
        for start in range(0, len(samples), hop_frames):
            hop = samples[start : start + hop_frames]
            chain.process(hop)
            shown.append(Glance(fed_s=(start + len(hop)) / rate_hz, reading=chain.reading()))
        return shown

    def glances(self) -> Sequence[Glance]:
        """What the chain showed while it was fed in hops of 50 ms."""
        return self._glances


def published_cases() -> tuple[Case, ...]:
    """Every row made from a published document."""
    return (*ebu_tech_3341_v4_2023.CASES, *ebu_tech_3342_v4_2023.CASES, *itu_r_bs2217_2_2016.CASES)


def judge(case: Case, values: Floats) -> ProofRow:
    """The row for the values that were read: all of them have to hold."""
    if not len(values) or bool(np.isnan(values).any()):
        return ProofRow(case=case, read=None, lowest=None, highest=None, missed="no reading")
    aim = case.expected if case.ideal is None else case.ideal
    # Equal first: silence minus silence is no number.
    off = np.array([0.0 if value == aim else abs(value - aim) for value in values])
    missed = None
    if not all(case.low <= value <= case.high for value in values):
        missed = "the limit"
    elif case.ideal_within is not None and float(off.max()) > case.ideal_within:
        missed = "the ideal"
    return ProofRow(
        case=case,
        read=float(values[int(off.argmax())]),
        lowest=float(values.min()),
        highest=float(values.max()),
        missed=missed,
    )


def _row(case: Case, parts: Sequence[Measured]) -> ProofRow:
    """Read and judge; a fault of ours is a miss of this row and leaves the others their say."""
    try:
        return judge(case, case.take(parts))
    except Exception as fault:
        LOG.exception("the row %s could not be read; please report this", case.name)
        why = f"stopped by {type(fault).__name__}, please report it"
        return ProofRow(case=case, read=None, lowest=None, highest=None, missed=why)


def prove_cases(
    rows: Sequence[Case],
    *,
    measured_by: Callable[[Signal], Measured] = ByChain,
    progress: Progress | None = None,
) -> Iterator[ProofRow]:
    """Make, measure and judge each case; cases in a row that share a signal measure it once."""
    done = 0
    for _, group in groupby(rows, key=lambda case: case.parts):
        sharing = list(group)
        if progress is not None:
            progress(done, len(rows), sharing[0].name)
        parts = [measured_by(part) for part in sharing[0].parts()]
        for case in sharing:
            yield _row(case, parts)
            done += 1


def second_opinions(excerpts: Sequence[Path]) -> Iterator[Case]:
    """A row for each excerpt: I as pyloudnorm reads it, as the value to meet.

    Both meters get the same samples, cut to whole 100 ms: that library counts an incomplete
    last block, which BS.1770-5 Annex 1 leaves out.
    """
    import pyloudnorm
    import soundfile

    for path in excerpts:
        samples, rate_hz = soundfile.read(path, dtype="float64", always_2d=True)
        hop_frames = rate_hz // 10
        samples = samples[: len(samples) // hop_frames * hop_frames]
        second = float(pyloudnorm.Meter(rate_hz, filter_class="DeMan").integrated_loudness(samples))
        within = SECOND_OPINION_LU if rate_hz == 48_000 else SECOND_OPINION_OTHER_RATE_LU
        yield Case(
            name=f"demo {path.stem}",
            document=f"second opinion: pyloudnorm {_version('pyloudnorm')}, filter class DeMan",
            clause="demo excerpt, whole 100 ms",
            parts=cases.one(partial(Signal, samples=samples, rate_hz=rate_hz)),
            reads="I",
            take=cases.integrated,
            unit="LUFS",
            expected=second,
            low=second - within,
            high=second + within,
            ideal=None,
            ideal_within=None,
            ideal_status="measured here",
            rate_hz=rate_hz,
        )


def _version(distribution: str) -> str:
    from importlib.metadata import version

    return version(distribution)


def _excerpts_or_reason() -> tuple[Sequence[Path], str | None]:
    """The excerpts to read twice, or why that is not done."""
    from importlib.util import find_spec

    if find_spec("pyloudnorm") is None:
        return (), "pyloudnorm is not installed; 'pip install pyloudnorm' brings it"
    from demo_signals import excerpts

    found = excerpts()
    return found, None if found else "the demo excerpts are not there; reinstall leadline"


def prove(progress: Progress | None = None) -> Proof:
    """Run every row on this machine.

    Parameters
    ----------
    progress : callable, optional
        Called before each row with (done, total, name of the row).

    Returns
    -------
    Proof
        Published cases first, in the order of their documents, then the second opinions.
    """
    from threadpoolctl import threadpool_limits

    begun = time.monotonic()
    excerpts, reason = _excerpts_or_reason()
    # With more threads the products of small matrices take many times as long.
    with threadpool_limits(limits=1, user_api="blas"):
        rows = [*prove_cases(published_cases(), progress=progress)]
        rows += prove_cases([*second_opinions(excerpts)] if excerpts else [], progress=progress)
    return Proof(rows=tuple(rows), seconds=time.monotonic() - begun, no_second_opinion=reason)
