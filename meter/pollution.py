"""What does not belong to a pass and bends its I: loops, pings, level steps, another tune, noise, pauses.

Works from soundings alone. Everything is only suggested, with the I there would be without it: music
repeats itself too, and what is left out is the user's choice. Thresholds are this project's own; silence
alone changes nothing, since the gates of BS.1770-5, Annex 1, leave it out.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Final

from meter.pollution_signs import level_steps, loops, noise_ends, pauses, pings, silence_between
from meter.selection import Part, Span
from meter.soundings import SOUNDINGS_A_SECOND, as_text_time

MOSTLY: Final = 0.85
"""A loop of so much of a pass is all that was heard."""
LONGEST_SILENCE_S: Final = 5.0
"""Silence that is worth no word."""
SHORTEST_TUNE_ROWS: Final = 20 * SOUNDINGS_A_SECOND


@dataclass(frozen=True, slots=True, kw_only=True)
class Suggestion:
    """Something in a pass that may not belong to it.

    Attributes
    ----------
    kind : str
        "silence", "pauses", "noise", "loop", "one part only", "another tune", "pings" or "level step".
    spans : tuple of (int, int)
        Soundings [start, stop) that it is about.
    integrated_lufs : float or None
        I without them, or with the gain restored; None where no number can be said.
    gain_db : float
        Of a level step: what restores it.
    text : str
        One sentence.
    """

    kind: str
    spans: tuple[Span, ...]
    integrated_lufs: float | None
    text: str
    gain_db: float = 0.0


def suggestions_for(part: Part) -> tuple[Suggestion, ...]:
    """Everything of a pass that may not belong to it, in the order of its first place."""
    made: list[Suggestion] = []
    for look in _LOOKS:
        made += look(part)
    made.sort(key=lambda one: one.spans[0])
    return tuple(made)


def _time(part: Part, row: int) -> str:
    """On the clock of the pass from which the part was taken, which goes on over gaps."""
    frames = part.rows["start_frame"]
    beyond = max(row - len(frames) + 1, 0)
    at_s = float(frames[row - beyond]) / part.rate_hz
    return as_text_time(at_s + beyond / SOUNDINGS_A_SECOND)


def _suggest(part: Part, kind: str, spans: list[Span], what: str, why: str) -> Suggestion:
    lufs = part.integrated_without(spans)
    number = "" if lufs is None or math.isinf(lufs) else f"; without {why}: I = {lufs:.1f} LUFS"
    return Suggestion(kind=kind, spans=tuple(spans), integrated_lufs=lufs, text=what + number)


def _silences(part: Part) -> Iterator[Suggestion]:
    spans, is_many = pauses(part)
    spans = [span for span in spans if span != silence_between(part, SHORTEST_TUNE_ROWS)]
    if not spans:
        return
    seconds = sum(stop - start for start, stop in spans) / SOUNDINGS_A_SECOND
    if is_many:
        # What a pause only partly fills counts as quieter music.
        wider = [(start - 1, stop + 1) for start, stop in spans]
        what = f"{len(spans)} pauses, {seconds:.0f} s together, from {_time(part, spans[0][0])} on"
        yield _suggest(part, "pauses", wider, what, "them")
    else:
        if seconds < LONGEST_SILENCE_S:
            return
        what = f"{seconds:.1f} s of silence at {_time(part, spans[0][0])}"
        yield _suggest(part, "silence", spans, what, "it, which the gate leaves out anyway")


def _noises(part: Part) -> Iterator[Suggestion]:
    for start, stop in noise_ends(part):
        what = f"noise far below the music from {_time(part, start)} to {_time(part, stop)}"
        yield _suggest(part, "noise", [(start, stop)], what, "it")


def _loops(part: Part) -> Iterator[Suggestion]:
    for (start, stop), period in loops(part):
        times = (stop - start) / period
        first = start - period
        what = (
            f"{period / SOUNDINGS_A_SECOND:.1f} s from {_time(part, first)} on come {times:.0f} more "
            f"{'time' if round(times) == 1 else 'times'}, until {_time(part, stop)}"
        )
        if stop - first >= MOSTLY * len(part.rows):
            yield Suggestion(
                kind="one part only",
                spans=((start, stop),),
                integrated_lufs=None,
                text=f"{what}, and nothing else was heard: intro, break and ending are missing, so this "
                "is the loudness of that part, not of the tune; play it through once",
            )
        else:
            yield _suggest(part, "loop", [(start, stop)], what, "these, unless the tune repeats itself there")


def _other_tunes(part: Part) -> Iterator[Suggestion]:
    between = silence_between(part, SHORTEST_TUNE_ROWS)
    if between is not None:
        start, stop = between
        what = f"silence at {_time(part, start)} divides two stretches: another tune may be left in before it"
        yield _suggest(part, "another tune", [(0, stop)], what, "what is before it")


def _pings(part: Part) -> Iterator[Suggestion]:
    spans = pings(part)
    if spans:
        what = f"{len(spans)} short bursts above the music, the first at {_time(part, spans[0][0])}"
        yield _suggest(part, "pings", spans, what, "these")


def _steps(part: Part) -> Iterator[Suggestion]:
    for span, step_db in level_steps(part):
        lufs = part.at_gain(span, -step_db).integrated_lufs()
        what = f"from {_time(part, span[0])} to {_time(part, span[1])} all is {abs(step_db):.1f} dB"
        word = "lower" if step_db < 0.0 else "higher"
        number = "" if lufs is None else f": a volume was moved; with the gain restored: I = {lufs:.1f} LUFS"
        yield Suggestion(
            kind="level step",
            spans=(span,),
            integrated_lufs=lufs,
            text=f"{what} {word}{number}",
            gain_db=-step_db,
        )


_LOOKS: Final[tuple[Callable[[Part], Iterator[Suggestion]], ...]] = (
    _silences,
    _noises,
    _loops,
    _other_tunes,
    _pings,
    _steps,
)
