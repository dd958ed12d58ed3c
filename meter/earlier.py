"""Passes of earlier sessions, out of the journal: to be listed, drawn again, and forgotten.

A pass is drawn from its soundings, with the numbers it had; what is wrong in it is looked for again, against
the target of now. Of one that was made coarser since, what was found when it was heard is shown, against the
target of then. Its audio was never kept, so nothing that needs the audio can be asked of it.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from meter.findings.records import Finding
from meter.soundings import SOUNDINGS_A_SECOND
from meter.targets import Target

if TYPE_CHECKING:
    from meter.file_pass import FilePass
    from meter.journal.records import KeptFinding, KeptPass

MOST: Final = 500
"""Listed, the newest; `leadline journal list` lists all."""


@dataclass(frozen=True, slots=True, kw_only=True)
class EarlierLine:
    """One pass, as the list shows it.

    Attributes
    ----------
    number : int
        In the journal.
    when, source, numbers : str
        When it began; from where; length, I and true peak.
    note : str
        "set", "broken off", "one row a second", or several of them; mostly empty.
    """

    number: int
    when: str
    source: str
    numbers: str
    note: str


def lines(*, besides_from_s: float | None = None) -> list[EarlierLine]:
    """What can be drawn again, the newest first.

    Parameters
    ----------
    besides_from_s : float, optional
        Seconds since 1970; passes that began later are those of this session and not earlier ones.

    Raises
    ------
    JournalError
        It cannot be read.
    """
    from meter.journal.store import read_journal
    from meter.journal.text import SHORT_S, with_numbers

    with read_journal() as journal:
        found = [
            kept
            for kept in reversed(journal.passes())
            if kept.seconds >= SHORT_S  # as `leadline journal list` does
            and not journal.is_still_heard(kept)
            and (besides_from_s is None or kept.start.began_unix_s < besides_from_s)
        ]
        return [_line(with_numbers(journal, kept)) for kept in found[:MOST]]


def _line(kept: KeptPass) -> EarlierLine:
    from meter.file_words import levels_text

    began = time.localtime(kept.start.began_unix_s)
    is_cut = kept.is_broken_off or not kept.is_ended
    is_coarse = kept.rows_a_second != SOUNDINGS_A_SECOND
    words = (("set", kept.start.is_set), ("broken off", is_cut), ("one row a second", is_coarse))
    notes = [word for word, is_so in words if is_so]
    return EarlierLine(
        number=kept.number,
        when=time.strftime("%a %Y-%m-%d %H:%M", began),
        source=kept.start.name,
        numbers=levels_text(kept.seconds, kept.integrated_lufs, kept.true_peak_dbtp),
        note=", ".join(notes),
    )


def drawn_again(number: int, target: Target | None) -> FilePass:
    """A pass of the journal as a checked file is shown.

    Raises
    ------
    MeterError
        It is not there, or cannot be read.
    """
    from meter.file_pass import FilePass, found_in
    from meter.journal.replay import has_coarser_rows, live_pass_of
    from meter.journal.store import read_journal
    from meter.journal.text import checked_of

    with read_journal() as journal:
        kept = journal.kept_pass(number)
        live_pass = live_pass_of(journal, kept)
        of_then = _as_findings(journal.findings(number)) if has_coarser_rows(kept) else None
    live_pass.number = 1  # the only one in its timeline
    checked = checked_of(live_pass, kept, target)
    findings = found_in(live_pass, checked.summary, target) if of_then is None else of_then
    began = time.strftime("%d %b %H:%M", time.localtime(kept.start.began_unix_s))
    return FilePass(
        checked=replace(checked, findings=findings, soundings=live_pass.store.rows()),
        live_pass=live_pass,
        findings=findings,
        heard=f"{began}, {kept.start.name}",
        found_then=of_then,
    )


def _as_findings(kept: Sequence[KeptFinding]) -> tuple[Finding, ...]:
    """What was found in a pass that is alone in its timeline; the beginnings are not kept."""
    made = []
    for one in sorted(kept, key=lambda one: one.at_s):
        at_slot = round(one.at_s * SOUNDINGS_A_SECOND)
        until_s = one.at_s if one.until_s is None else one.until_s
        made.append(
            Finding(
                kind=one.kind,
                first_slot=at_slot,
                last_slot=max(round(until_s * SOUNDINGS_A_SECOND), at_slot + 1),
                at_slot=at_slot,
                at_s=one.at_s,
                pass_number=1,
                severity=one.severity,
                is_open=False,
                text=one.text,
                until_s=until_s,
                amount=one.amount or 0.0,
                unit=one.unit or "",
            )
        )
    return tuple(made)


def forget(numbers: Sequence[int]) -> None:
    """Take passes out of the journal; `bring_back` undoes it."""
    from meter.journal.store import open_journal

    with open_journal() as journal:
        journal.delete(numbers)


def bring_back(number: int) -> None:
    """Undo the deletion of a pass, whatever was deleted since; nothing where it is there."""
    from meter.journal.store import open_journal

    with open_journal() as journal:
        journal.undo(of_pass=number)
