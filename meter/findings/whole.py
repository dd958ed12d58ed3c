"""The findings of a whole pass, from its soundings: a checked file, or any part of a pass."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from meter.capture.records import SourceInfo
from meter.findings.collected import finding_of
from meter.findings.finder import Finder
from meter.findings.found import Found
from meter.findings.records import KINDS, Finding
from meter.live_pass import LivePass
from meter.pass_cutter import QUIET_LUFS
from meter.row_store import PIECE_ROWS
from meter.soundings import SOUNDINGS_A_SECOND, Gap, Soundings
from meter.targets import Target
from meter.timeline import Timeline
from meter.units import lufs_to_power

A_FILE: Final = SourceInfo(spec="file:", name="a file")

LONGEST_START_S: Final = 1.0
LONGEST_END_S: Final = 5.0
"""Silence at the ends of a file that is worth no word. Common practice, no source."""


def findings_of(
    rows: Soundings,
    *,
    rate_hz: int,
    channels: int,
    weights: Sequence[float],
    target: Target | None = None,
    crossover_hz: float = 120.0,
    over_limit_dbtp: float = 0.0,
    gaps: Sequence[Gap] = (),
    from_s: float = 0.0,
    ends_there: bool = True,
    info: SourceInfo = A_FILE,
) -> tuple[Finding, ...]:
    """What is wrong in a pass, in the order of time; at most five of a kind.

    Parameters
    ----------
    rows : ndarray of `SOUNDING`
        All soundings of the pass.
    rate_hz, channels, weights, crossover_hz, over_limit_dbtp
        As the chain had them.
    target : Target, optional
        Whose limits hold; common practice where it has none.
    gaps : sequence of Gap
        What was lost, at the times of the file.
    from_s : float
        Where the soundings begin in the file, whose times are told.
    ends_there : bool
        The file ends with them.
    info : SourceInfo
        Where they come from. What was heard live has no ends to be silent.
    """
    live_pass = LivePass(
        number=1,
        info=info,
        rate_hz=rate_hz,
        channels=channels,
        weights=tuple(weights),
        crossover_hz=crossover_hz,
        over_limit_dbtp=over_limit_dbtp,
        began_unix_s=0.0,
    )
    live_pass.gaps.extend(gaps)
    timeline = Timeline(clock=lambda: 0.0)
    finder = Finder(target)
    for first in range(0, len(rows), PIECE_ROWS):  # of hours, all at once is several times their memory
        part = rows[first : first + PIECE_ROWS].copy()
        part["start_frame"] += round(from_s * rate_hz)
        live_pass.store.append(part)
        timeline.append(part, live_pass)
        finder.take(timeline)
    timeline.end(live_pass)  # so that nothing is said to go on
    finder.take(timeline)
    while finder.is_behind:
        finder.take(timeline)
    inside = [one for one in finder.findings if one.kind != "silent end"]
    begins_there = from_s == 0.0 and not info.is_live
    ends_there = ends_there and not info.is_live
    ends = _silent_ends(rows, live_pass, from_s, begins_there=begins_there, ends_there=ends_there)
    found = [*inside, *(finding_of(one) for one in ends)]
    found.sort(key=lambda one: (one.first_slot, KINDS.index(one.kind), one.text))
    return tuple(found)


def _silent_ends(
    rows: Soundings, live_pass: LivePass, from_s: float, *, begins_there: bool, ends_there: bool
) -> list[Found]:
    """Silence before the first sound of a file and behind the last, where it is long."""
    weights = np.array(live_pass.weights)
    power = rows["k_power"][:, : len(weights)].astype(np.float64) @ weights
    sound = np.flatnonzero(power >= lufs_to_power(QUIET_LUFS))
    if len(sound) == 0:
        return []
    first, last = int(sound[0]), int(sound[-1]) + 1
    ends = []
    if begins_there and first > LONGEST_START_S * SOUNDINGS_A_SECOND:
        ends.append(("start", 0, first))
    if ends_there and len(rows) - last > LONGEST_END_S * SOUNDINGS_A_SECOND:
        before = round(from_s * SOUNDINGS_A_SECOND)
        ends.append(("end", before + last, before + len(rows)))
    return [
        Found(
            kind="silent end",
            live_pass=live_pass,
            pass_at_s=0.0,
            run=0,
            first_slot=start,
            last_slot=stop,
            at_slot=start,
            subject=subject,
            severity=(stop - start) / SOUNDINGS_A_SECOND,
        )
        for subject, start, stop in ends
    ]
