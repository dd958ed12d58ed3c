"""Finds what is wrong in a timeline while it grows."""

from __future__ import annotations

from typing import Final

import numpy as np

from meter.findings.collected import Collected
from meter.findings.found import Found
from meter.findings.records import Finding
from meter.findings.sample_spots import spots_in
from meter.findings.spots import SilenceFinder, overs_in
from meter.findings.stretches import Bools, Stretch, StretchFinder, is_lower, loses_more_than
from meter.findings.watched import MoreWatches, Watched
from meter.live_pass import LivePass
from meter.music_sentences import APART_DB, mono_limits
from meter.pass_cutter import QUIET_LUFS, ListedPass, PassCutter
from meter.readings import FAR_BELOW_DB
from meter.soundings import BANDS, LOW_BANDS, SOUNDINGS_A_SECOND, Gap, Soundings
from meter.targets import Target
from meter.timeline import Run, Timeline
from meter.units import Floats

TAKE_SLOTS: Final = 6000
"""Ten minutes at a time, so that a call stays short whatever has come meanwhile."""

_FULL: Final = BANDS.index("full")


class Finder:
    """Looks at what has come since the last call; one thread.

    Parameters
    ----------
    target : Target or None
        What may be lost in mono and how high a true peak may be are its limits; common practice and
        0 dBTP without one.
    cutter : PassCutter, optional
        Cuts the passes that findings belong to, shared with who lists them, in the same thread: places are
        told from the beginning of the pass in that list. Without it from that of the live pass.

    Attributes
    ----------
    findings : tuple of Finding
        In the order of the timeline, rebound by `take`; at most five of a kind in each pass.
    is_behind : bool
        A call takes ten minutes of a timeline at most; whether the next one has something left to do.
    """

    def __init__(self, target: Target | None = None, *, cutter: PassCutter | None = None) -> None:
        self._target = target
        self._limits_db = mono_limits(target)
        self._over_limit_dbtp = 0.0 if target is None else target.true_peak_limit_dbtp
        self._cutter = PassCutter() if cutter is None else cutter
        begins_s = (lambda _: None) if cutter is None else self._listed_begins_s
        self._collected = Collected(self._listed_number, begins_s)
        self._run = 0
        self._slot = 0
        self._watch: _RunWatch | None = None
        self._gaps: tuple[LivePass | None, int] = None, 0
        self.findings: tuple[Finding, ...] = ()
        self.is_behind = False

    def take(self, timeline: Timeline) -> None:
        """Look at what is new."""
        self._cutter.take(timeline)
        room = TAKE_SLOTS
        slots, runs = timeline.slots, timeline.runs
        while self._run < len(runs) and room > 0:
            run = runs[self._run]
            if self._watch is None:
                self._slot = run.first_slot
                self._watch = _RunWatch(run, self._run, self._limits_db, self._over_limit_dbtp, self._target)
            stop = min(run.stop_slot, slots, self._slot + room)
            if stop > self._slot:
                self._put(self._watch.take(timeline, self._slot, stop))
                room -= stop - self._slot
                self._slot = stop
            self._put_gaps(run)
            if not run.is_over or self._slot < run.stop_slot:
                break
            self._put(self._watch.end())
            self._watch = None
            self._run += 1
        self.is_behind = self._run < len(runs) and self._slot < slots
        still = [] if self._watch is None else self._watch.open
        self.findings = self._collected.findings(still)

    def _put(self, all_found: list[Found]) -> None:
        for found in all_found:
            self._collected.put(found)

    def _listed_number(self, slot: int) -> int:
        """The listed pass that has begun before a slot; 0 when none has."""
        one = self._listed(slot)
        return 0 if one is None else one.number

    def _listed_begins_s(self, slot: int) -> float | None:
        one = self._listed(slot)
        return None if one is None else one.first_slot / SOUNDINGS_A_SECOND

    def _listed(self, slot: int) -> ListedPass | None:
        return next((one for one in reversed(self._cutter.passes) if one.first_slot < slot), None)

    def _put_gaps(self, run: Run) -> None:
        """The gaps of the pass that are new."""
        live_pass = run.live_pass
        told = self._gaps[1] if self._gaps[0] is live_pass else 0
        new = live_pass.gaps[told:]
        for gap in new:
            self._collected.put(_gap_found(run, gap))
        self._gaps = live_pass, told + len(new)


def _gap_found(run: Run, gap: Gap) -> Found:
    seconds = gap.frames / run.live_pass.rate_hz
    first = round((run.pass_at_s + gap.at_s) * SOUNDINGS_A_SECOND)
    return Found(
        kind="gap",
        live_pass=run.live_pass,
        pass_at_s=run.pass_at_s,
        run=0,
        first_slot=first,
        last_slot=first + max(1, round(seconds * SOUNDINGS_A_SECOND)),
        at_slot=first,
        severity=seconds,
        frames=gap.frames,
    )


class _RunWatch:
    """Everything that watches one run."""

    def __init__(
        self,
        run: Run,
        number: int,
        limits_db: dict[str, float],
        over_limit_dbtp: float,
        target: Target | None,
    ) -> None:
        live_pass = run.live_pass
        self._run, self._number = run, number
        self._loudest_lufs = -np.inf  # highest S so far
        self._silence = SilenceFinder(live_pass.weights)
        self._over_limit_dbtp = over_limit_dbtp
        self._limits_db = limits_db if live_pass.channels > 1 else {}
        self._bands = {band: StretchFinder(loses_more_than(db)) for band, db in self._limits_db.items()}
        sides = ("right", "left") if live_pass.channels > 1 else ()
        self._more = MoreWatches(live_pass, target)
        self._sides = {side: StretchFinder(is_lower(APART_DB, right=side == "right")) for side in sides}

    def take(self, timeline: Timeline, first: int, stop: int) -> list[Found]:
        """Look at the slots [first, stop); what ended in them."""
        start = first - self._run.first_slot
        live_pass = self._run.live_pass
        rows = live_pass.store.rows(self._run.first_row + start, self._run.first_row + start + stop - first)
        found = [
            self._found(
                "over",
                overs.start,
                overs.stop,
                at_slot=self._run.first_slot + overs.top,
                severity=overs.severity,
                count=overs.count,
                peak_dbtp=overs.peak_dbtp,
                limit_db=self._over_limit_dbtp,
                samples_over=overs.samples_over,
            )
            for overs in overs_in(
                rows, first=start, limit_dbtp=self._over_limit_dbtp, channels=live_pass.channels
            )
        ]
        found += [
            self._found(one.kind, one.start, one.stop, **one.more)
            for one in spots_in(rows, start, live_pass.rate_hz)
        ]
        for begins, ends in self._silence.take(rows):
            seconds = (ends - begins) / SOUNDINGS_A_SECOND
            found.append(self._found("silence", begins, ends, severity=seconds))
        loud = self._is_loud(timeline, first, stop)
        for band, watch in self._bands.items():
            heard = loud if band == "full" else _is_heard(timeline, band, first, stop)
            found += self._lost(band, watch.take(_sums(rows, band), heard))
        for side, watch in self._sides.items():
            found += self._one_sided(side, watch.take(_sums(rows, "full"), loud))
        return found + self._told(self._more.take(rows, loud))

    def _is_loud(self, timeline: Timeline, first: int, stop: int) -> Bools:
        """Where S is loud enough to speak of its sides: not in a tail far under the music."""
        levels = timeline.values("short_term_lufs", first, stop).astype(np.float64)
        loudest = np.fmax.accumulate(np.concatenate([[self._loudest_lufs], levels]))
        self._loudest_lufs = float(loudest[-1])
        with np.errstate(invalid="ignore"):
            return np.asarray(levels >= np.maximum(loudest[1:] + FAR_BELOW_DB, QUIET_LUFS), np.bool_)

    def end(self) -> list[Found]:
        """The run is over; what was open."""
        found = []
        for band, watch in self._bands.items():
            found += self._lost(band, watch.end())
        for side, watch in self._sides.items():
            found += self._one_sided(side, watch.end())
        return found + self._told(self._more.end())

    @property
    def open(self) -> list[Found]:
        """What is not over yet, as far as it is known."""
        found = []
        for band, watch in self._bands.items():
            found += self._lost(band, [one for one in (watch.open,) if one is not None])
        for side, watch in self._sides.items():
            found += self._one_sided(side, [one for one in (watch.open,) if one is not None])
        return found + self._told(self._more.open)

    def _told(self, stretches: list[tuple[Watched, Stretch]]) -> list[Found]:
        return [self._stretch(one.kind, one.subject, stretch, one.limit) for one, stretch in stretches]

    def _lost(self, band: str, stretches: list[Stretch]) -> list[Found]:
        limit_db = self._limits_db.get(band, 0.0)
        return [self._stretch("lost in mono", band, stretch, limit_db) for stretch in stretches]

    def _one_sided(self, side: str, stretches: list[Stretch]) -> list[Found]:
        return [self._stretch("one-sided", side, stretch, -APART_DB) for stretch in stretches]

    def _stretch(self, kind: str, subject: str, stretch: Stretch, limit_db: float) -> Found:
        found = self._found(
            kind,
            stretch.start,
            stretch.stop,
            subject=subject,
            sums=stretch.sums,
            worst_slot=None if stretch.worst_start is None else self._run.first_slot + stretch.worst_start,
            worst_sums=stretch.worst_sums,
            limit_db=limit_db,
            is_open=stretch.goes_on,
        )
        found.weigh()
        return found

    def _found(
        self, kind: str, start: int, stop: int, *, at_slot: int | None = None, **more: object
    ) -> Found:
        first = self._run.first_slot + start
        return Found(
            kind=kind,
            live_pass=self._run.live_pass,
            pass_at_s=self._run.pass_at_s,
            run=self._number,
            first_slot=first,
            last_slot=self._run.first_slot + stop,
            at_slot=first if at_slot is None else at_slot,
            **more,  # type: ignore[arg-type]
        )


def _sums(rows: Soundings, band: str) -> Floats:
    """Energy of left, of right, and their product in a band, shape (n, 3)."""
    column = BANDS.index(band)
    frames = rows["frames"].astype(np.float64)
    return np.stack([rows[name][:, column] * frames for name in ("ll", "rr", "lr")], axis=1)


def _is_heard(timeline: Timeline, band: str, first: int, stop: int) -> Bools:
    assert band in LOW_BANDS
    return ~np.isnan(timeline.values(f"fold_{band}", first, stop))


