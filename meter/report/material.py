"""What a report is made of: a pass of the journal, or an audio file."""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from meter.delivery.arguments import Delivery
from meter.errors import UsageError
from meter.soundings import SOUNDINGS_A_SECOND, Soundings, Summary
from meter.targets import Target, Verdict, judge
from meter.time_over import TimeOver
from meter.tunes.listed import ListedTune

if TYPE_CHECKING:
    from meter.check import Progress
    from meter.delivery.encoded import Encoded
    from meter.delivery.playback import Forecast
    from meter.findings.records import Finding


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Material:
    """A pass, ready to be told.

    Attributes
    ----------
    title, source : str
    began_unix_s : float or None
        None for a file.
    rows : ndarray of `SOUNDING`
    rate_hz, channels : int
    weights : tuple of float
    crossover_hz : float
    summary : Summary
    target : Target or None
    verdicts : mapping
        Measure key -> verdict; empty without a target.
    findings : tuple of (float, str)
        Seconds and sentence.
    tunes : tuple of ListedTune
        Of a set; empty elsewhere.
    is_broken_off : bool
        It ended because the program that heard it did.
    is_still_heard : bool
        It goes on at this moment.
    withheld_s : float
        How long the system volume was not 0 dB; then there are no verdicts.
    notes : tuple of str
        What was odd with the file, or could not be done.
    encodes : tuple of Encoded, or None
        What encoders make of it; None where that was not asked for.
    playback : tuple of Forecast, or None
        How loud it plays back; the same.
    """

    title: str
    source: str
    began_unix_s: float | None
    rows: Soundings
    rate_hz: int
    channels: int
    weights: tuple[float, ...]
    crossover_hz: float
    summary: Summary
    target: Target | None
    verdicts: Mapping[str, Verdict]
    findings: tuple[tuple[float, str], ...]
    tunes: tuple[ListedTune, ...] = ()
    is_broken_off: bool = False
    is_still_heard: bool = False
    withheld_s: float = 0.0
    notes: tuple[str, ...] = ()
    encodes: tuple[Encoded, ...] | None = None
    playback: tuple[Forecast, ...] | None = None

    @property
    def began_text(self) -> str | None:
        """When it was heard, by the clock on the wall."""
        if self.began_unix_s is None:
            return None
        return time.strftime("%Y-%m-%d %H:%M", time.localtime(self.began_unix_s))

    def time_over(self) -> TimeOver:
        """Seconds that were over, of those in which anything was measured: as of a set."""
        limit = None if self.target is None else self.target.limits.get("true_peak_dbtp")
        ceiling_dbtp = 0.0 if limit is None or limit.max is None else limit.max
        made = TimeOver()
        made.take(self.rows, start_s=0.0, rate_hz=self.rate_hz, limit_dbtp=ceiling_dbtp)
        return made


def material_of(
    what: str,
    *,
    target: Target | None,
    delivery: Delivery | None = None,
    progress: Progress | None = None,
) -> Material:
    """From the number of a pass, or the path of an audio file.

    Parameters
    ----------
    delivery : Delivery, optional
        Encoders to try it with, and levels that players bring it to.
    progress : callable, optional
        Called while a file is measured, and tried with encoders.

    Raises
    ------
    MeterError
        There is no such pass, or the file cannot be read; one sentence.
    """
    if what.isascii() and what.isdigit() and not Path(what).exists():
        return _of_pass(int(what), target, delivery or Delivery())
    if not Path(what).exists():
        raise UsageError(
            f"{what} is neither the number of a pass nor a file; `leadline journal` lists the passes"
        )
    return _of_file(what, target, delivery or Delivery(), progress)


def _of_file(
    name: str, target: Target | None, delivery: Delivery, progress: Progress | None
) -> Material:
    from meter.check import Options, check_file

    options = Options(target=target, keep_soundings=True, encodes=delivery.encodes)
    checked = check_file(name, options, progress=progress)
    rows = checked.soundings
    assert rows is not None
    return Material(
        title=Path(name).name,
        source=f"{checked.kind}, {checked.channels_text}",
        began_unix_s=None,
        rows=rows,
        rate_hz=round(checked.summary.sample_rate_hz),
        channels=checked.summary.channels,
        weights=checked.weights,
        crossover_hz=checked.options.crossover_hz,
        summary=checked.summary,
        target=target,
        verdicts=checked.verdicts,
        findings=tuple((one.at_s, one.text) for one in in_time(checked.findings)),
        notes=checked.notes,
        encodes=checked.encodes if delivery.encodes else None,
        playback=_playback(checked.summary, delivery),
    )


def in_time(findings: Sequence[Finding]) -> list[Finding]:
    """By their place: those of encoders among the others."""
    return sorted(findings, key=lambda one: one.first_slot)


def _playback(summary: Summary, delivery: Delivery) -> tuple[Forecast, ...] | None:
    if not delivery.playback:
        return None
    from meter.delivery.playback import forecasts_of

    return tuple(forecasts_of(summary, delivery.playback, turns_up=delivery.turns_up))


def _of_pass(number: int, target: Target | None, delivery: Delivery) -> Material:
    if delivery.encodes:
        raise UsageError(
            f"--encode came for pass {number}, but of what was heard live no sound is kept; name the audio "
            f"file of the tune instead of {number}"
        )
    from meter.journal.replay import known_findings, live_pass_of
    from meter.journal.store import read_journal
    from meter.tunes.store import PassTunes

    with read_journal() as journal:
        kept = journal.kept_pass(number)
        live_pass = live_pass_of(journal, kept)
        is_set, is_heard = kept.start.is_set, journal.is_still_heard(kept)
        tunes: Sequence[ListedTune] = PassTunes(journal, kept, live_pass).listed() if is_set else ()
    summary = live_pass.summary()
    is_judged = target is not None and kept.withheld_rows == 0
    return Material(
        title=f"{'Set' if is_set else 'Pass'} {number}",
        source=kept.start.name,
        began_unix_s=kept.start.began_unix_s,
        rows=live_pass.store.rows(),
        rate_hz=kept.start.rate_hz,
        channels=kept.start.channels,
        weights=tuple(kept.start.weights),
        crossover_hz=kept.start.crossover_hz,
        summary=summary,
        target=target,
        verdicts=judge(target, summary, finished=not is_heard) if target is not None and is_judged else {},
        findings=tuple((one.at_s, one.text) for one in known_findings(journal, kept, live_pass, target)),
        tunes=tuple(tunes),
        is_broken_off=kept.is_broken_off or not (kept.is_ended or is_heard),
        is_still_heard=is_heard,
        withheld_s=kept.withheld_rows / SOUNDINGS_A_SECOND,  # counted before it was made coarser
        playback=_playback(summary, delivery),
    )


def length_s(rows: Soundings, rate_hz: int) -> float:
    """From the first frame to the last, what was lost between them included."""
    return float(rows["start_frame"][-1] + rows["frames"][-1]) / rate_hz if len(rows) else 0.0


def row_times_s(rows: Soundings, rate_hz: int) -> np.ndarray:
    """Where each row begins."""
    return rows["start_frame"] / rate_hz if len(rows) else np.zeros(0)


ROWS_A_SECOND = SOUNDINGS_A_SECOND
