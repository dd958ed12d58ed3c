"""The one sentence: the most useful thing to know now, from one `Now`.

First what keeps the readings from being true (no source, a system volume that is not 0 dB),
then what is wrong in the music, then how loud it is. Of a source that has ended, what it comes to.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final

from meter import music_sentences, set_sentences
from meter.capture.records import SourceState, SourceStatus
from meter.end_sentence import of_end
from meter.now import Now, is_withheld
from meter.sentence_kinds import RECENT_S, Kind, Sentence
from meter.set_watch import SetNow
from meter.soundings import Gap, Reading, as_text_time
from meter.standards.bs1770 import ABSOLUTE_GATE_LUFS
from meter.targets import Limit, value_text

TO_0_DB: Final = "set it to 0 dB (100 %), until then there is no verdict"
ANEW: Final = "loudness and maxima start anew there"


def sentence(now: Now) -> Sentence:
    """The most useful thing to know now."""
    return next(_sentences(now))


def _sentences(now: Now) -> Iterator[Sentence]:
    yield from _of_the_way(now)
    reading = now.reading
    if reading is None or now.rate_hz is None:
        yield Sentence(kind=Kind.LOUDNESS, text="listening")
        return
    if now.of_set is not None:
        yield from _of_set(now, reading, now.rate_hz, now.of_set)
        return
    yield from _of_silence(now, reading)
    yield from music_sentences.of_overs(now, reading)
    yield from _of_gaps(now, reading, now.rate_hz)
    yield from music_sentences.of_mono(now, reading)
    yield from music_sentences.of_sides(now, reading)
    yield from music_sentences.of_misses(now, reading)
    yield Sentence(kind=Kind.LOUDNESS, text=music_sentences.of_loudness(now, reading))


def _of_set(now: Now, reading: Reading, rate_hz: int, of_set: SetNow) -> Iterator[Sentence]:
    """Of a set other things matter: nothing can be done in the booth about what mono loses."""
    yield from set_sentences.of_dead_air(of_set)
    yield from _of_silence(now, reading)
    yield from set_sentences.of_over(now, reading, of_set)
    yield from _of_gaps(now, reading, rate_hz)
    yield from set_sentences.of_the_rest(now, reading, of_set)


# --- what keeps the readings from being true


def _of_the_way(now: Now) -> Iterator[Sentence]:
    state = now.state
    if now.problem is not None:
        yield Sentence(kind=Kind.PROBLEM, text=now.problem)
    if state.status is not SourceStatus.RUNNING:
        yield Sentence(kind=Kind.SOURCE, text=state.sentence or _status_text(now))
    if now.is_held:
        yield Sentence(kind=Kind.HELD, text="held: nothing is measured until you go on")
    if is_withheld(state):
        yield _of_volume(state)
    if state.sentence is not None:
        yield Sentence(kind=Kind.NOTICE, text=state.sentence)


def _status_text(now: Now) -> str:
    name = now.state.info.name
    if now.state.status is SourceStatus.OPENING:
        return f"opening {name}"
    if now.state.status is SourceStatus.LOST:
        return f"{name} is lost; listening goes on when it is back"
    whole = of_end(now)
    return f"{name} has ended" + ("" if whole is None else f": {whole}")


def _of_volume(state: SourceState) -> Sentence:
    volume_db = state.volume_db
    if state.is_muted or volume_db is None or volume_db == -math.inf:
        what = "is muted" if state.is_muted else "volume is at zero"
        return Sentence(kind=Kind.MUTED, text=f"the system's output {what}: unmute it and {TO_0_DB}")
    reads = "lower" if volume_db < 0.0 else "higher"
    shown = value_text(volume_db, limit=Limit(min=0.0, max=0.0), plus=True)
    text = f"the system volume is at {shown} dB, so all levels read {reads} than the music is: {TO_0_DB}"
    return Sentence(kind=Kind.VOLUME, text=text)


def _of_silence(now: Now, reading: Reading) -> Iterator[Sentence]:
    loudness_lufs = reading.momentary_lufs if reading.short_term_lufs is None else reading.short_term_lufs
    if loudness_lufs is None or loudness_lufs >= ABSOLUTE_GATE_LUFS:
        return
    spec = now.state.info.spec
    if spec == "system":
        text = "nothing is playing: start the music; what takes the sound device for itself is not heard"
    elif spec.startswith("device:"):
        text = f"nothing comes in through {now.state.info.name}: look at its cable and its gain"
    else:
        text = "it is silent here"
    yield Sentence(kind=Kind.SILENCE, text=text)


def _of_gaps(now: Now, reading: Reading, rate_hz: int) -> Iterator[Sentence]:
    gap = now.last_gap
    if gap is None or reading.at_s - (gap.at_s + gap.frames / rate_hz) > RECENT_S:
        return
    yield Sentence(kind=Kind.GAP, text=f"{gap_text(gap, rate_hz)}; {ANEW}")


def gap_text(gap: Gap, rate_hz: int) -> str:
    """How much was lost, and when."""
    return f"{seconds_text(gap.frames / rate_hz)} were lost at {as_text_time(gap.at_s)}"


def seconds_text(seconds: float) -> str:
    """A length with its unit."""
    return f"{seconds:.{1 if seconds >= 0.1 else 3}f} s"
