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
    options = Options(target=target)
    say("making the demo tune and measuring it ...", sys.stderr)
    tune = demo_signals.render()
    rows = _soundings(tune, demo_signals.RATE_HZ, options)
    summary = summarise(rows, rate_hz=demo_signals.RATE_HZ, channels=tune.shape[1])
    checked = Checked(
        name="demo",
        kind="made from code",
        channels_text="stereo",
        summary=summary,
        options=options,
        verdicts=judge(target, summary),
    )
    say(block(checked), sys.stdout)
    say("\n  What was planted, and what is read there", sys.stdout)
    agreed = True
    for fault in demo_signals.faults.FAULTS:
        read = read_fault(fault, rows, demo_signals.RATE_HZ)
        agreed = agreed and (read is None or agrees(fault, read))
        say(fault_text(fault, read), sys.stdout)
    return 0 if agreed else 1


def _soundings(tune: Samples, rate_hz: int, options: Options) -> Soundings:
    from meter.chain import Chain

    chain = Chain(
        rate_hz=rate_hz,
        channels=tune.shape[1],
        crossover_hz=options.crossover_hz,
        over_limit_dbtp=options.over_limit_dbtp,
        beside=options.beside,
    )
    try:
        return np.concatenate([chain.process(tune), chain.flush()])
    finally:
        chain.close()


def read_fault(fault: Fault, rows: Soundings, rate_hz: int) -> float | None:
    """What the soundings of a stretch say about its fault; None where they say nothing.

    Parameters
    ----------
    fault : Fault
        One of `demo_signals.faults`.
    rows : array of `SOUNDING`
        Of the whole tune.
    rate_hz : int
        Rate of the tune.
    """
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


_READERS: Final[Mapping[str, Callable[[Soundings], float | None]]] = {
    "wide sub": _lost_in_mono_db,
    "one-sided": _right_against_left_db,
    "over target": _highest_short_term_lufs,
    "true-peak overs": _true_peak_dbtp,
}
"""How to read each kind of fault from the soundings of its stretch, as far as they tell."""
