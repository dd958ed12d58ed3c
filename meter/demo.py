"""`leadline demo --at-once`: the demo tune through the chain, and whether each planted fault is read there.

What the chain does not measure is said to be so; nothing is assumed.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Final

import numpy as np

from meter.check import Checked, Options
from meter.check_text import block
from meter.console import say
from meter.low_end.records import LowEnd
from meter.low_end.settings import LowEndSettings
from meter.soundings import BANDS, Soundings, as_text_time
from meter.target_file import shipped_targets
from meter.targets import judge, value_text
from meter.units import Samples, amplitude_to_db, power_to_db, power_to_lufs

if TYPE_CHECKING:
    from demo_signals.faults import Fault

TARGET_NAME: Final = "club"


def run() -> int:
    """Measure the tune, print the block and the planted faults.

    Returns
    -------
    int
        0 when every reading agrees with what was planted, otherwise 1.
    """
    import demo_signals
    from meter.passes import summarise

    target = shipped_targets()[TARGET_NAME]
    options = Options(target=target, low_end=LowEndSettings())
    say("making the demo tune and measuring it ...", sys.stderr)
    tune = demo_signals.render()
    rows, low_end = _measured(tune, demo_signals.RATE_HZ, options)
    summary = summarise(rows, rate_hz=demo_signals.RATE_HZ, channels=tune.shape[1])
    checked = Checked(
        name="demo",
        kind="made from code",
        channels_text="stereo",
        summary=summary,
        options=options,
        verdicts=judge(target, summary),
        low_end=low_end,
    )
    say(block(checked), sys.stdout)
    say("\n  What was planted, and what is read there", sys.stdout)
    agreed = True
    for fault in demo_signals.faults.FAULTS:
        read = read_fault(fault, rows, demo_signals.RATE_HZ, low_end)
        agreed = agreed and (read is None or agrees(fault, read))
        say(fault_text(fault, read), sys.stdout)
    return 0 if agreed else 1


def _measured(tune: Samples, rate_hz: int, options: Options) -> tuple[Soundings, LowEnd]:
    from meter.chain import Chain
    from meter.low_end.analysis import LowEndAnalysis
    from meter.low_end.clock import low_clock

    low_end = LowEndAnalysis(low_clock(rate_hz), options.low_end)
    chain = Chain(
        rate_hz=rate_hz,
        channels=tune.shape[1],
        crossover_hz=options.crossover_hz,
        over_limit_dbtp=options.over_limit_dbtp,
        beside=options.beside,
        low_sink=low_end,
    )
    try:
        return np.concatenate([chain.process(tune), chain.flush()]), low_end.reading()
    finally:
        chain.close()


def read_fault(fault: Fault, rows: Soundings, rate_hz: int, low_end: LowEnd | None = None) -> float | None:
    """What was measured of a stretch says about its fault; None where it says nothing.

    Parameters
    ----------
    fault : Fault
        One of `demo_signals.faults`.
    rows : array of `SOUNDING`
        Of the whole tune.
    rate_hz : int
        Rate of the tune.
    low_end : LowEnd, optional
        Of the whole tune.
    """
    if low_end is not None and fault.kind in _LOW_END_READERS:
        return _LOW_END_READERS[fault.kind](fault, low_end)
    read = _READERS.get(fault.kind)
    if read is None:
        return None
    start_s = rows["start_frame"] / rate_hz
    end_s = (rows["start_frame"] + rows["frames"]) / rate_hz
    return read(rows[(start_s >= fault.start_s) & (end_s <= fault.end_s)])


def agrees(fault: Fault, read: float) -> bool:
    """Whether a reading is what was planted."""
    return abs(read - fault.expected) <= fault.tolerance


def fault_text(fault: Fault, read: float | None) -> str:
    """One fault in two lines: where and what it is; planted, read, and whether they agree."""
    place = f"{as_text_time(fault.start_s)} to {as_text_time(fault.end_s)}"
    planted = f"{fault.measure}: planted {fault.expected:.1f} ±{fault.tolerance:g} {fault.unit}"
    if read is None:
        said = "not measured by this version"
    else:
        said = f"read {value_text(read)} {fault.unit}  {'✓ agrees' if agrees(fault, read) else '▲ differs'}"
    return f"    {place}  {fault.sentence}\n        {planted}, {said}"


def _lost_in_mono_db(rows: Soundings) -> float | None:
    from meter.dsp.stereo import fold_loss_db

    band = BANDS.index("below_crossover")
    ll, rr, lr = (float(rows[name][:, band].mean(dtype=np.float64)) for name in ("ll", "rr", "lr"))
    return fold_loss_db(ll, rr, lr)


def _right_against_left_db(rows: Soundings) -> float:
    full = BANDS.index("full")
    left, right = (float(rows[name][:, full].mean(dtype=np.float64)) for name in ("ll", "rr"))
    return power_to_db(right / left)


def _highest_short_term_lufs(rows: Soundings) -> float:
    return power_to_lufs(float(np.nanmax(rows["short_term_max"])))


def _true_peak_dbtp(rows: Soundings) -> float:
    return amplitude_to_db(float(rows["true_peak"].max()))


def _note_cents(fault: Fault, low_end: LowEnd) -> float | None:
    """How far the note that sounds longest in the stretch is off the scale."""
    inside = [
        note
        for note in low_end.sub_notes
        if note.at_s < fault.end_s and note.at_s + note.seconds > fault.start_s
    ]
    longest = max(
        inside, key=lambda note: min(note.at_s + note.seconds, fault.end_s) - note.at_s, default=None
    )
    return None if longest is None else longest.cents


def _kick_body_hz(fault: Fault, low_end: LowEnd) -> float | None:
    """The middle of the kicks in the stretch."""
    if low_end.kicks is None:
        return None
    hits = [hit for hit in low_end.kicks.hits if fault.start_s - 0.1 <= hit.at_s < fault.end_s]
    bodies_hz = [hit.body.hz for hit in hits if hit.body.hz is not None]
    return float(np.median(bodies_hz)) if bodies_hz else None


_LOW_END_READERS: Final[Mapping[str, Callable[[Fault, LowEnd], float | None]]] = {
    "flat note": _note_cents,
    "kick inside the sub": _kick_body_hz,
}
"""The same for what the low end tells."""

_READERS: Final[Mapping[str, Callable[[Soundings], float | None]]] = {
    "wide sub": _lost_in_mono_db,
    "one-sided": _right_against_left_db,
    "over target": _highest_short_term_lufs,
    "true-peak overs": _true_peak_dbtp,
}
"""How to read each kind of fault from the soundings of its stretch, as far as they tell."""
