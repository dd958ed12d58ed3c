"""A pass that was heard, in the same form as a file that was checked."""

from __future__ import annotations

from meter.check import Checked, Options, channels_text
from meter.live_pass import LivePass
from meter.soundings import SOUNDINGS_A_SECOND
from meter.targets import Target, judge


def heard(
    live_pass: LivePass,
    *,
    target: Target | None,
    pair: tuple[int, int] | None = None,
    note: str | None = None,
) -> Checked:
    """The pass with its verdicts, unless they are withheld.

    Parameters
    ----------
    live_pass : LivePass
        A pass that has ended.
    target : Target or None
    pair : tuple of two int, optional
        The channels that were chosen.
    note : str, optional
        What else is to be said of it.
    """
    summary = live_pass.summary()
    notes = [] if note is None else [note]
    if summary.lost_frames:
        seconds = summary.lost_frames / live_pass.rate_hz
        gaps = f"{len(summary.gaps)} gap{'s' * (len(summary.gaps) > 1)}"
        notes.append(f"{seconds:.3g} s were lost in {gaps}; no window holds both sides of one")
    if live_pass.holds:
        held_s = sum(hold.frames for hold in live_pass.holds) / live_pass.rate_hz
        notes.append(f"{held_s:.1f} s of it were held and not measured")
    if summary.nonfinite_samples:
        notes.append(f"{summary.nonfinite_samples} samples were no numbers and were taken as silence")
    if not live_pass.has_verdict:
        seconds = live_pass.withheld_rows / SOUNDINGS_A_SECOND
        notes.append(f"the system volume was not 0 dB for {seconds:.1f} s of it, so no verdict is given")
    judged = None if target is None or not live_pass.has_verdict else target
    words = channels_text(live_pass.channels, live_pass.weights, None, live_pass.channels)
    return Checked(
        name=live_pass.info.name,
        kind="heard live",
        channels_text=words if pair is None else f"channels {pair[0]} and {pair[1]}",
        summary=summary,
        options=Options(target=target, pair=pair, crossover_hz=live_pass.crossover_hz),
        verdicts={} if judged is None else judge(judged, summary),
        notes=tuple(notes),
    )
