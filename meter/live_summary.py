"""A pass that was heard, in the same form as a file that was checked."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from meter.capture.records import SourceInfo
from meter.check import Checked, Options, channels_text
from meter.findings.records import Finding
from meter.live_pass import LivePass
from meter.low_end.findings import low_end_findings
from meter.low_end.records import LowEnd
from meter.low_end.settings import LowEndSettings
from meter.soundings import SOUNDINGS_A_SECOND
from meter.targets import Target, judge


def heard(
    live_pass: LivePass,
    *,
    target: Target | None,
    pair: tuple[int, int] | None = None,
    note: str | None = None,
    with_findings: bool = True,
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
    with_findings : bool
        Look for findings; not where they are known already.
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
        kind=kind_of(live_pass.info),
        channels_text=words if pair is None else f"channels {pair[0]} and {pair[1]}",
        summary=summary,
        options=Options(target=target, pair=pair, crossover_hz=live_pass.crossover_hz),
        verdicts={} if judged is None else judge(judged, summary),
        notes=tuple(notes),
        findings=_findings(live_pass, target) if with_findings else (),
    )


def with_low_end(checked: Checked, low_end: LowEnd | None, settings: LowEndSettings) -> Checked:
    """The same with what its low end was found to be, None where that is not known."""
    if low_end is None:
        return checked
    found = (*checked.findings, *low_end_findings(low_end, settings))
    return replace(
        checked,
        low_end=low_end,
        options=replace(checked.options, low_end=settings),
        findings=tuple(sorted(found, key=lambda one: one.first_slot)),
    )


def kind_of(info: SourceInfo) -> str:
    """How it was heard."""
    return "heard live" if info.is_live else "played"


OF_LEVEL: Final = ("over", "too loud", "silence", "flat tops", "dc")
"""Findings that say nothing where the sound went through a system volume."""


def _findings(live_pass: LivePass, target: Target | None) -> tuple[Finding, ...]:
    from meter.findings.whole import findings_of

    rows = live_pass.store.rows()
    if len(rows) == 0:
        return ()
    found = findings_of(
        rows,
        rate_hz=live_pass.rate_hz,
        channels=live_pass.channels,
        weights=live_pass.weights,
        target=target,
        crossover_hz=live_pass.crossover_hz,
        over_limit_dbtp=live_pass.over_limit_dbtp,
        gaps=live_pass.gaps,
        info=live_pass.info,
    )
    if live_pass.has_verdict:
        return found
    return tuple(one for one in found if one.kind not in OF_LEVEL)
