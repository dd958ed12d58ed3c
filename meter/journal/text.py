"""What the journal shows: its list, one pass, and exports. Plain functions; nothing is printed."""

from __future__ import annotations

import csv
import io
import time
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import numpy.typing as npt

from meter.check import Checked
from meter.errors import JournalError
from meter.journal.coarser import fine_days
from meter.journal.records import KeptFinding, KeptPass
from meter.journal.replay import findings_in, live_pass_of, timeline_of
from meter.journal.store import Journal
from meter.live_pass import LivePass
from meter.soundings import LOW_BANDS
from meter.targets import Target, value_text
from meter.units import powers_to_db

if TYPE_CHECKING:
    from meter.timeline import Timeline

SHORT_S: Final = 10.0
"""Shorter passes, such as the pings of other programs, are listed only when asked for."""

SERIES: Final = {
    "momentary_lufs": "momentary_lufs",
    "short_term_lufs": "short_term_lufs",
    "correlation": "correlation_3s",
    **{f"fold_{band}": f"fold_loss_3s_db.{band}" for band in LOW_BANDS},
    "overs": "overs",
}
"""Series of a timeline, and what they are called outside."""


def with_numbers(journal: Journal, kept: KeptPass) -> KeptPass:
    """The pass with the numbers of its list entry, also while it has not ended.

    One that is damaged stays without: it must be listed to be deleted.
    """
    if kept.has_numbers:
        return kept
    try:
        summary = live_pass_of(journal, kept).summary()
    except JournalError:
        return kept
    return replace(
        kept,
        integrated_lufs=summary.integrated_lufs,
        loudest_30s_lufs=summary.loudest_30s_lufs,
        true_peak_dbtp=summary.true_peak_dbtp,
    )


def list_text(journal: Journal, passes: Sequence[KeptPass], *, shows_all: bool) -> str:
    """The list of passes, oldest first.

    Parameters
    ----------
    passes : sequence of KeptPass
        With their numbers (`with_numbers`).
    shows_all : bool
        Also those under `SHORT_S`.
    """
    if not passes:
        return "nothing is in the journal yet; what the window and `leadline listen` hear live is kept there"
    shown = [kept for kept in passes if shows_all or kept.seconds >= SHORT_S]
    lines = [
        f"{'pass':>4}  {'when':<16}  {'length':>8} {'loudest 30 s':>13} {'I':>7} {'TP':>7}  from",
        f"{'':>4}  {'':<16}  {'m:ss':>8} {'LUFS':>13} {'LUFS':>7} {'dBTP':>7}",
        *(line_text(kept, is_heard=journal.is_still_heard(kept)) for kept in shown),
    ]
    left_out = len(passes) - len(shown)
    if left_out:
        are = "is one" if left_out == 1 else f"are {left_out}"
        lines.append(f"there {are} under {SHORT_S:.0f} s more; `leadline journal list --all` lists them too")
    days = fine_days(journal)
    if days is not None and any(kept.rows_a_second == 1 for kept in passes):
        lines.append(f"passes older than {days} days have one row a second; their numbers are as they were")
    lines.append(f"kept in {journal.path}, {_bytes_of(journal.path) / 1e6:.1f} MB")
    return "\n".join(lines)


def _bytes_of(path: Path) -> int:
    """How much the journal takes on the disk."""
    return sum(one.stat().st_size for one in (path, path.with_name(f"{path.name}-wal")) if one.exists())


def line_text(kept: KeptPass, *, is_heard: bool = False) -> str:
    """One line of the list: number, when, length, loudest 30 s, I, true peak, from where."""
    when = time.strftime("%Y-%m-%d %H:%M", time.localtime(kept.start.began_unix_s))
    seconds = int(kept.seconds)
    length = f"{seconds // 60}:{seconds % 60:02d}"
    if seconds >= 3600:
        length = f"{seconds // 3600}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"
    loudest, integrated = (_number(value) for value in (kept.loudest_30s_lufs, kept.integrated_lufs))
    peak = _number(kept.true_peak_dbtp, plus=True)
    text = f"{kept.number:>4}  {when}  {length:>8} {loudest:>13} {integrated:>7} {peak:>7}  {kept.start.name}"
    if is_heard:
        return f"{text}  (is being heard)"
    return f"{text}  (broken off)" if kept.is_broken_off or not kept.is_ended else text


def _number(value: float | None, *, plus: bool = False) -> str:
    return "--" if value is None else value_text(value, plus=plus)


def pass_object(kept: KeptPass, *, is_heard: bool) -> dict[str, Any]:
    """One line of the list as an object; silence is null as everywhere."""
    values = {key: getattr(kept, key) for key in ("loudest_30s_lufs", "integrated_lufs", "true_peak_dbtp")}
    return {
        "type": "pass",
        "pass": kept.number,
        "started": _iso(kept),
        "seconds": kept.seconds,
        "source": kept.start.spec,
        "name": kept.start.name,
        "closed": kept.is_ended,
        "broken_off": kept.is_broken_off or not (kept.is_ended or is_heard),
        "set": kept.start.is_set,
        "soundings_a_second": kept.rows_a_second,
        **{key: _plain(value) for key, value in values.items()},
    }


def _iso(kept: KeptPass) -> str:
    return datetime.fromtimestamp(kept.start.began_unix_s, UTC).isoformat(timespec="seconds")


def _plain(value: float | None) -> float | None:
    return value if value is not None and np.isfinite(value) else None


# --- one pass


def checked_of(live_pass: LivePass, kept: KeptPass, target: Target | None) -> Checked:
    """The pass as a checked file is shown, held against a target."""
    from meter.live_summary import heard

    when = time.strftime("%Y-%m-%d %H:%M", time.localtime(kept.start.began_unix_s))
    name = f"pass {kept.number}, {when}, {kept.start.name}"
    return replace(heard(live_pass, target=target, with_findings=False), name=name)


def findings_of(journal: Journal, kept: KeptPass) -> tuple[KeptFinding, ...]:
    """What was found in it; looked for now where it has not ended."""
    return journal.findings(kept.number) if kept.has_numbers else findings_in(live_pass_of(journal, kept))


def pass_text(journal: Journal, kept: KeptPass, target: Target | None = None) -> str:
    """Everything about one pass."""
    from meter.check_text import block, sentences
    from meter.findings.listed import listed

    text = block(checked_of(live_pass_of(journal, kept), kept, target))
    found = sentences("What was found?", listed(findings_of(journal, kept)))
    return "\n".join([text, *found])


def summary_object(journal: Journal, kept: KeptPass, target: Target | None = None) -> dict[str, Any]:
    """The same as an object, with the keys of `listen`."""
    from meter import live_json

    live_pass = live_pass_of(journal, kept)
    made = live_json.summary_object(
        checked_of(live_pass, kept, target), spec=kept.start.spec, is_judged=live_pass.has_verdict
    )
    made |= {"pass": kept.number, "started": _iso(kept)}
    made["findings"] = [
        {
            "at_s": one.at_s,
            "until_s": one.until_s,
            "kind": one.kind,
            "amount": _plain(one.amount),
            "unit": one.unit,
            "severity": one.severity,
            "text": one.text,
        }
        for one in findings_of(journal, kept)
    ]
    return made


# --- exports


def sounding_objects(live_pass: LivePass, *, a_second: int = 10) -> Iterator[dict[str, Any]]:
    """Each sounding of a pass: M, S, true peak of each channel, and what is lost in mono over 3 s.

    Parameters
    ----------
    a_second : int
        10, or 1: of a pass that was made coarser, what is true of each of its seconds.
    """
    if a_second == 1:
        yield from _seconds_of(live_pass)
        return
    rows, timeline = live_pass.store.rows(), timeline_of(live_pass)
    slots = _slots_of(timeline, len(rows))
    series = {key: timeline.values(key, 0, timeline.slots)[slots].tolist() for key in SERIES}
    series["overs"] = rows["overs"].tolist()  # where a gap cuts soundings short, two may share a slot
    peaks = powers_to_db(np.square(rows["true_peak"][:, : live_pass.channels].astype(np.float64))).tolist()
    ends_s = ((rows["start_frame"] + rows["frames"]) / live_pass.rate_hz).tolist()
    for at, end_s in enumerate(ends_s):
        made: dict[str, Any] = {"type": "sounding", "at_s": end_s}
        made |= {name: _plain(series[key][at]) for key, name in SERIES.items() if "." not in name}
        made["true_peak_dbtp"] = [_plain(peak) for peak in peaks[at]]
        made["fold_loss_3s_db"] = {band: _plain(series[f"fold_{band}"][at]) for band in LOW_BANDS}
        yield made


def _slots_of(timeline: Timeline, count: int) -> npt.NDArray[np.int64]:
    """The slot of each sounding of a timeline of one pass; gaps are slots without any."""
    slots = np.zeros(count, np.int64)
    for run in timeline.runs:
        length = run.stop_slot - run.first_slot
        slots[run.first_row : run.first_row + length] = np.arange(run.first_slot, run.stop_slot)
    return slots


def _seconds_of(live_pass: LivePass) -> Iterator[dict[str, Any]]:
    """The last sounding of each second, with the overs of all of it; its peaks are those of all of it."""
    before: dict[str, Any] | None = None
    overs, second = 0, 0
    for made in sounding_objects(live_pass):
        at = int(np.ceil(made["at_s"] - 1e-6))
        if before is not None and at != second:
            yield before | {"overs": overs}
            overs = 0
        overs += made["overs"] or 0
        before, second = made, at
    if before is not None:
        yield before | {"overs": overs}


def csv_text(live_pass: LivePass, *, a_second: int = 10) -> str:
    """The same as a table with a heading; what cannot be given is left empty."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    plain = [name for name in SERIES.values() if "." not in name]
    channels = range(live_pass.channels)
    writer.writerow(
        [
            "at_s",
            *plain,
            *(f"true_peak_dbtp.{channel + 1}" for channel in channels),
            *(f"fold_loss_3s_db.{band}" for band in LOW_BANDS),
        ]
    )
    for made in sounding_objects(live_pass, a_second=a_second):
        values = [made["at_s"], *(made[name] for name in plain), *made["true_peak_dbtp"]]
        values += made["fold_loss_3s_db"].values()
        writer.writerow(["" if value is None else f"{value:.6g}" for value in values])
    return out.getvalue()
