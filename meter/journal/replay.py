"""A kept pass as it was when it was heard: its numbers, its timeline for the lanes, its findings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from meter.capture.records import SourceInfo
from meter.journal.records import HELD, LOST, KeptFinding, KeptGap, KeptPass, PassStart
from meter.live_pass import LivePass
from meter.soundings import SOUNDING, SOUNDINGS_A_SECOND, Gap, Soundings, Summary
from meter.targets import Target

if TYPE_CHECKING:
    from meter.journal.store import Journal
    from meter.timeline import Timeline


def pass_again(
    start: PassStart,
    rows: Soundings,
    *,
    number: int,
    withheld_rows: int = 0,
    gaps: Sequence[KeptGap] = (),
) -> LivePass:
    """The pass in the form in which it was made."""
    made = LivePass(
        number=number,
        info=SourceInfo(spec=start.spec, name=start.name, rate_hz=start.rate_hz, channels=start.channels),
        rate_hz=start.rate_hz,
        channels=start.channels,
        weights=start.weights,
        crossover_hz=start.crossover_hz,
        over_limit_dbtp=start.over_limit_dbtp,
        began_unix_s=start.began_unix_s,
    )
    made.add(rows, is_withheld=False)
    made.withheld_rows = withheld_rows
    made.gaps = [Gap(at_s=gap.at_s, frames=gap.frames) for gap in gaps if gap.kind == LOST]
    made.holds = [Gap(at_s=gap.at_s, frames=gap.frames) for gap in gaps if gap.kind == HELD]
    return made


def live_pass_of(journal: Journal, kept: KeptPass) -> LivePass:
    """A pass of the journal in the form in which it was made."""
    rows = journal.rows(kept.number)
    if kept.rows_a_second != SOUNDINGS_A_SECOND:
        from meter.journal.coarser import fine_again

        rows = fine_again(rows, rate_hz=kept.start.rate_hz)
    made = pass_again(
        kept.start,
        rows,
        number=kept.number,
        withheld_rows=kept.withheld_rows,
        gaps=journal.gaps(kept.number),
    )
    if kept.has_numbers:
        made.kept_summary = journal.summary(kept.number, again=made.summary)
    return made


def summary_of(journal: Journal, kept: KeptPass) -> Summary:
    """The numbers of a kept pass: those written at its end, or worked out again from its soundings."""
    return live_pass_of(journal, kept).summary()


def timeline_of(live_pass: LivePass) -> Timeline:
    """The timeline of one pass, for lanes and findings."""
    from meter.timeline import Timeline

    timeline = Timeline(clock=lambda: live_pass.began_unix_s)
    timeline.append(live_pass.store.rows(), live_pass)
    return timeline


def findings_in(live_pass: LivePass, target: Target | None = None) -> tuple[KeptFinding, ...]:
    """What is to be found in a pass, in the order of time."""
    from meter.findings.finder import Finder

    timeline = timeline_of(live_pass)
    _close(timeline, live_pass)
    finder = Finder(target)
    finder.take(timeline)
    while finder.is_behind:
        finder.take(timeline)
    return tuple(
        KeptFinding(
            kind=one.kind,
            at_s=one.at_s,
            severity=one.severity,
            text=one.text,
            until_s=one.until_s,
            amount=one.amount,
            unit=one.unit,
        )
        for one in finder.findings
        if one.pass_number == live_pass.number
    )


def known_findings(
    journal: Journal, kept: KeptPass, live_pass: LivePass, target: Target | None
) -> tuple[KeptFinding, ...]:
    """What is to be found in a kept pass, held against a target.

    In coarser rows it would be found otherwise than it was heard: of those, what was found then, against
    the target of then.
    """
    if has_coarser_rows(kept):
        return journal.findings(kept.number)
    return findings_in(live_pass, target)


def has_coarser_rows(kept: KeptPass) -> bool:
    """Whether it was made coarser, so that what was found in it stands in the journal alone."""
    return kept.has_numbers and kept.rows_a_second != SOUNDINGS_A_SECOND


def _close(timeline: Timeline, live_pass: LivePass) -> None:
    """Let another pass begin, of one silent sounding: what goes on to the end of this one has ended then."""
    after = replace(live_pass, number=live_pass.number + 1, gaps=[], holds=[], kept_summary=None)
    row = np.zeros(1, SOUNDING)
    row["frames"] = live_pass.rate_hz // SOUNDINGS_A_SECOND
    after.add(row, is_withheld=False)
    timeline.append(row, after)
