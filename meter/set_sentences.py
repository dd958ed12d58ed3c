"""What the one sentence says of a set: few words, the most urgent first."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from meter.capture.records import SourceStatus
from meter.music_sentences import short_term_ceiling_lufs
from meter.now import Now
from meter.sentence_kinds import RECENT_S, Kind, Sentence
from meter.set_watch import SetNow
from meter.set_words import age, jump_text, last_over_text, room_text
from meter.shown import NOT_KNOWN
from meter.soundings import Reading
from meter.targets import SHORT_TERM_KEY, Limit, Verdict, value_text
from meter.tunes.words import clock

DROPOUT_S: Final = 10.0
"""So long a drop-out is news: nobody looks at the screen all the time."""

JUMP_S: Final = 60.0
"""So long a jump is."""

LOST_FEW: Final = 3
"""From so many drop-outs on their number is told."""

ALARMS: Final = frozenset((Kind.DEAD_AIR, Kind.OVER, Kind.GAP, Kind.DROPOUT))
"""What cannot wait."""


def calls(now: Now, kind: Kind) -> bool:
    """Whether a sentence of this kind has to be seen from across the booth."""
    if now.of_set is None:
        return False
    return kind in ALARMS or (kind is Kind.SOURCE and now.state.status is SourceStatus.LOST)


def of_dead_air(of_set: SetNow) -> Iterator[Sentence]:
    """Silence after music."""
    if of_set.is_dead_air:
        seconds = of_set.silent_s
        for_so_long = f"{seconds:.0f} s" if seconds < 60.0 else f"{clock(seconds)} min"
        text = f"silence for {for_so_long}: look at fader, deck and cable"
        yield Sentence(kind=Kind.DEAD_AIR, text=text)


def of_over(now: Now, reading: Reading, of_set: SetNow) -> Iterator[Sentence]:
    """An over that is news."""
    over = now.last_over
    if over is None or reading.at_s - over.until_s > RECENT_S:
        return
    above = value_text(over.peak_dbtp - now.over_limit_dbtp, limit=Limit(max=0.0))
    count = f", {of_set.overs} so far" if of_set.overs > 1 else ""
    yield Sentence(kind=Kind.OVER, text=f"over by {above} dB{count}: turn it down")


def of_the_rest(now: Now, reading: Reading, of_set: SetNow) -> Iterator[Sentence]:
    """What is less urgent than a gap; always ends with something."""
    yield from _of_dropouts(of_set)
    jump = of_set.jump
    if jump is not None and of_set.age_s(jump.told_s) <= JUMP_S:
        yield Sentence(kind=Kind.JUMP, text=jump_text(jump))
    if of_set.flat_at_dbfs is not None:
        level = value_text(of_set.flat_at_dbfs)
        text = f"something clipped before us at {level} dBFS: look at gain and deck"
        yield Sentence(kind=Kind.FLAT, text=text)
    yield from _of_loudness(now, reading)
    room = room_text(of_set)
    more = "" if room == NOT_KNOWN else f", {room} dB of room"
    yield Sentence(kind=Kind.LOUDNESS, text=f"{last_over_text(of_set)}{more}")


def _of_dropouts(of_set: SetNow) -> Iterator[Sentence]:
    last = of_set.last_dropout
    if last is None or of_set.age_s(last.at_s) > DROPOUT_S:
        return
    ago = " ".join(age(of_set.age_s(last.at_s)))
    count = f", {of_set.dropouts} so far" if of_set.dropouts >= LOST_FEW else ""
    text = f"dropped out for {1000.0 * last.seconds:.0f} ms, {ago}{count}: look at cable and player"
    yield Sentence(kind=Kind.DROPOUT, text=text)


def _of_loudness(now: Now, reading: Reading) -> Iterator[Sentence]:
    ceiling = None if now.target is None else short_term_ceiling_lufs(now.target)
    if ceiling is None or now.target is None or reading.short_term_lufs is None:
        return
    if now.verdicts.get(SHORT_TERM_KEY) is Verdict.OVER:
        above = value_text(reading.short_term_lufs - ceiling, limit=Limit(max=0.0))
        text = f"too loud for {now.target.title}: {above} LU over its ceiling"
        yield Sentence(kind=Kind.LOUD, text=text)
