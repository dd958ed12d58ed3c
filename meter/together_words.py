"""What a kick and a sub make of each other, in words: for `leadline together` and for the window."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from meter.kick_and_sub import MOVE, TOO_FEW, VARIES, Together
from meter.soundings import as_text_time

QUESTION: Final = "Do the kick and the sub add or cancel?"
HOW: Final = (
    "The kick by itself and the sub by itself, from the same moment of the tune. Of both, 120 ms from each "
    "kick are added up in 30 to 120 Hz; then the sub is tried with its polarity turned, and up to 12 ms "
    "earlier and later. Your files are only read."
)
LEAST_MOVE_S: Final = 5e-5
"""Less is told as none."""
HITS: Final = "Hit by hit: a dot as it is, its thread up to the best that this hit could have"
SCAN: Final = "All hits together, with the sub earlier or later: as it is, and with its polarity turned"


@dataclass(frozen=True, slots=True, kw_only=True)
class PageText:
    """The page of the window; `lines` are what is known, `advice` what to do."""

    advice: str
    lines: tuple[str, ...]
    hits_spoken: str
    scan_spoken: str


def page_text(found: Together) -> PageText:
    """What was found, for the page."""
    lines = [counted(found)]
    if found.verdict != TOO_FEW:
        lines += [as_they_are(found), best_text(found)]
    return PageText(
        advice=_sentence(advice(found)),
        lines=tuple(_sentence(line) for line in lines),
        hits_spoken=_hits_spoken(found),
        scan_spoken=f"{as_they_are(found)}; {best_text(found)}" if found.scan_db is not None else "",
    )


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}."


def _hits_spoken(found: Together) -> str:
    if not found.hits:
        return "no hit with a sub under it"
    worst = min(found.hits, key=lambda hit: hit.g_db)
    return f"{counted(found)}; the lowest, {worst.g_db:+.1f} dB, at {as_text_time(worst.at_s)}"


def counted(found: Together) -> str:
    """How many hits there are."""
    both = len(found.hits)
    text = "1 hit has a sub under it" if both == 1 else f"{both} hits have a sub under them"
    return f"{text}, {found.without_sub} have none" if found.without_sub else text


def as_they_are(found: Together) -> str:
    """The sum as it is, over all and hit by hit."""
    g_db = sorted(hit.g_db for hit in found.hits)
    least, most = f"{g_db[0]:+.1f}", f"{g_db[-1]:+.1f}"
    hits = "every hit alike" if least == most else f"hit by hit {least} to {most} dB"
    return f"as they are: {sum_text(found.g_db)}; {hits}"


def best_text(found: Together) -> str:
    """The one setting that is best for all."""
    return (
        f"best for all of them: {setting_text(found)}, {found.best_db:+.1f} dB; it serves "
        f"{100.0 * found.served:.0f} % of the hits"
    )


def sum_text(g_db: float) -> str:
    """What the two make of each other."""
    if g_db >= 0.1:
        return f"they add, {g_db:.1f} dB over both apart"
    if g_db <= -0.1:
        return f"they cancel, {-g_db:.1f} dB under both apart"
    return "they neither add nor cancel"


def setting_text(found: Together) -> str:
    """A polarity and a place of the sub."""
    turned = "the sub's polarity turned" if found.flips else "its polarity as it is"
    return f"{turned}, {_moved(found) if _is_moved(found) else 'not moved'}"


def _is_moved(found: Together) -> bool:
    return abs(found.lag_s) >= LEAST_MOVE_S


def _moved(found: Together) -> str:
    return f"{abs(1000.0 * found.lag_s):.1f} ms {'later' if found.lag_s > 0.0 else 'earlier'}"


def advice(found: Together) -> str:
    """What to do."""
    if found.verdict == TOO_FEW:
        return "too few hits to say more: four with a sub under them are needed"
    if found.verdict == MOVE:
        turns = ["turn the sub's polarity"] if found.flips else []
        moves = [f"move {'it' if turns else 'the sub'} {_moved(found)}"] if _is_moved(found) else []
        return (
            f"try: {' and '.join([*turns, *moves])}; that gains {found.gain_db:.1f} dB in the low end of "
            "nearly every hit. Listen to it: more is not always better"
        )
    if found.verdict == VARIES:
        return (
            "it varies from hit to hit, no one setting helps: retrigger the sub's phase, duck it or "
            "shorten the kick"
        )
    return "nothing to gain: polarity and place of the sub are as good as they get"
