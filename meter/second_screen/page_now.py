"""What the page shows of a moment: texts, and where things lie; the page itself works nothing out.

What is true of this moment only is shown while sound comes in, and not when the source is lost, held or
still: an old number must never look like a new one.
"""

from __future__ import annotations

import json
import math
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, Final

from meter.capture.records import SourceStatus
from meter.lanes import lanes_for
from meter.music_sentences import short_term_ceiling_lufs
from meter.now import Now, is_withheld
from meter.sentence import sentence
from meter.sentence_kinds import RECENT_S, Keeper
from meter.set_sentences import calls
from meter.set_watch import DEAD_AIR_S, SetNow
from meter.set_words import age, room_text, share_text
from meter.shown import NOT_KNOWN, number, overs_unit, recent_peak, shown
from meter.soundings import as_text_time
from meter.targets import SHORT_TERM_KEY, Limit, Verdict, limit_text, value_text

STILL_S: Final = 3.0
"""So long nothing new may come of a source that runs."""

_ENDED: Final = "Leadline has ended"


@dataclass(frozen=True, slots=True, kw_only=True)
class Tile:
    """One number on the page.

    Attributes
    ----------
    value, suffix, unit : str
        The suffix stands beside the number and is as far to be seen; the unit does not.
    verdict : str
        Glyph and word; empty when there is none.
    more : str
        A line in small letters.
    calls : bool
        It has to be seen from across the booth.
    """

    value: str = NOT_KNOWN
    suffix: str = ""
    unit: str = ""
    verdict: str = ""
    more: str = ""
    calls: bool = False

    def as_object(self) -> dict[str, Any]:
        """For the page; with the minus sign of print, which is as wide as the plus."""
        return {
            "value": _printed(self.value),
            "suffix": self.suffix,
            "unit": self.unit,
            "verdict": self.verdict,
            "more": _printed(self.more),
            "calls": self.calls,
        }


class PageNow:
    """Makes the page's object from what is known; remembers since when nothing has changed.

    Parameters
    ----------
    steady_s, wall_s : callable
        Clocks: one that never jumps, and seconds since 1970.
    """

    def __init__(
        self, *, steady_s: Callable[[], float] = time.monotonic, wall_s: Callable[[], float] = time.time
    ) -> None:
        self._steady_s, self._wall_s = steady_s, wall_s
        self._keeper = Keeper()
        self._place: tuple[int, float] | None = None
        self._since_s = steady_s()

    def look(self, now: Now) -> dict[str, Any]:
        """The object for a moment; call it at least once a second."""
        at_s = self._steady_s()
        place = (now.pass_number, 0.0 if now.reading is None else now.reading.at_s)
        if place != self._place:
            self._place, self._since_s = place, at_s
        still_s = at_s - self._since_s if now.is_heard else 0.0
        notice = self._notice(now, still_s)
        # What does not come any more is shown as what comes from nowhere.
        seen = now if still_s <= STILL_S else _without_source(now)
        found = self._keeper.keep(sentence(now), at_s)
        return {
            "at_ms": round(1000.0 * at_s),
            "notice": notice,
            "sentence": found.text,
            "calls": calls(now, found.kind),
            "source": _source_text(now),
            "target": "no target" if now.target is None else f"held against {now.target.title}",
            "tiles": {name: make(seen).as_object() for name, make in _TILES.items()},
            "rope": rope(seen),
            "is_over": False,
        }

    def _notice(self, now: Now, still_s: float) -> str:
        """What keeps the numbers from being those of this moment, in few words; empty when nothing does."""
        status = now.state.status
        if now.problem is not None:
            return "This cannot be measured"
        if now.is_held:
            return "Held"
        if status is not SourceStatus.RUNNING:
            return {SourceStatus.OPENING: "Opening the source", SourceStatus.LOST: "Lost the source"}.get(
                status, "The source has ended"
            )
        of_set = now.of_set
        silent_s = max(still_s, 0.0 if of_set is None else of_set.silent_s)
        if silent_s < DEAD_AIR_S:
            return ""
        if of_set is None or of_set.music_s == 0.0:
            return "No sound yet"
        return f"No sound since {time.strftime('%H:%M:%S', time.localtime(self._wall_s() - silent_s))}"


def rope(now: Now) -> dict[str, Any]:
    """Where S and the target lie on an axis from 0 to 1, and its ticks."""
    lane = lanes_for(now.target)[0]

    def place(value: float) -> float:
        return min(max((value - lane.lowest) / (lane.highest - lane.lowest), 0.0), 1.0)

    limit, value = lane.band(now.target), number(now, SHORT_TERM_KEY)
    band = None
    if limit is not None:
        band = [
            0.0 if limit.min is None else place(limit.min),
            1.0 if limit.max is None else place(limit.max),
        ]
    return {
        "at": None if value is None else place(value),
        "band": band,
        "ticks": [[place(tick), _printed(f"{tick:g}")] for tick in lane.ticks],
    }


def event(made: dict[str, Any]) -> bytes:
    """An object as one event of a stream."""
    return f"data: {json.dumps(made, ensure_ascii=False, allow_nan=False)}\n\n".encode()


def ended_event() -> bytes:
    """The last event of a run."""
    return event({"is_over": True, "notice": _ENDED})


# --- the numbers


def _short_term(now: Now) -> Tile:
    return replace(_measure(now, SHORT_TERM_KEY, "LUFS"), more=_against_ceiling(now))


def _against_ceiling(now: Now) -> str:
    ceiling_lufs = None if now.target is None else short_term_ceiling_lufs(now.target)
    if ceiling_lufs is None or now.target is None:
        return "no ceiling is set"
    value = number(now, SHORT_TERM_KEY)
    if value is None or math.isinf(value) or is_withheld(now.state):
        return f"ceiling {limit_text(ceiling_lufs)} LUFS"
    away_lu = value_text(abs(value - ceiling_lufs), limit=Limit(max=0.0))
    return f"{away_lu} LU {'above' if value > ceiling_lufs else 'below'} the ceiling"


def _integrated(now: Now) -> Tile:
    return _measure(now, "integrated_lufs", "LUFS")


def _room(now: Now) -> Tile:
    of_set = now.of_set
    if of_set is None or not now.is_heard:
        return Tile(unit="dB")
    is_over = of_set.room_db is not None and of_set.room_db < 0.0 and not is_withheld(now.state)
    return Tile(
        value=room_text(of_set),
        unit="dB",
        verdict=_glyph_and_word(Verdict.OVER) if is_over else "",
        more=f"to {limit_text(of_set.limit_dbtp)} dBTP",
    )


def _true_peak(now: Now) -> Tile:
    highest = shown(now, "true_peak_dbtp")
    verdict = "" if highest.verdict is not Verdict.OVER else f" {_glyph_and_word(Verdict.OVER)}"
    return Tile(value=recent_peak(now), unit="dBTP", more=f"highest {highest.text}{verdict}")


def _last_over(now: Now) -> Tile:
    of_set = now.of_set
    if of_set is None:
        return Tile()
    count = f"{of_set.overs} {overs_unit(of_set.overs)} so far"
    if of_set.over_age_s is None:
        return Tile(value="none", more="so far")
    if not now.is_heard:
        return Tile(more=count)  # its clock stands still
    value, unit = age(of_set.over_age_s)
    is_news = of_set.over_age_s <= RECENT_S and not is_withheld(now.state)
    return Tile(
        value=value,
        suffix=unit.removesuffix(" ago"),
        unit="ago",
        verdict=_glyph_and_word(Verdict.OVER) if is_news else "",
        more=count,
        calls=is_news,
    )


def _time_over(now: Now) -> Tile:
    of_set: SetNow = SetNow() if now.of_set is None else now.of_set
    return Tile(
        value=share_text(of_set.recent_over_pct),
        suffix="%",
        more=f"{share_text(of_set.over_pct)} % of all",
    )


def _correlation(now: Now) -> Tile:
    if now.channels == 1:
        return Tile(more="one channel")
    return replace(_measure(now, "correlation", ""), more="left and right, 3 s")


_TILES: Final[dict[str, Callable[[Now], Tile]]] = {
    "short_term": _short_term,
    "room": _room,
    "true_peak": _true_peak,
    "last_over": _last_over,
    "time_over": _time_over,
    "integrated": _integrated,
    "correlation": _correlation,
}


def _measure(now: Now, key: str, unit: str) -> Tile:
    found = shown(now, key)
    verdict = "" if found.verdict is None else _glyph_and_word(found.verdict)
    return Tile(value=found.text, unit=unit, verdict=verdict)


def _glyph_and_word(verdict: Verdict) -> str:
    return f"{verdict.glyph} {verdict.word}"


def _source_text(now: Now) -> str:
    words = [now.state.info.name]
    if now.of_set is not None:
        words.append(as_text_time(now.of_set.seconds)[:-2])
    return " · ".join(words)


def _without_source(now: Now) -> Now:
    return replace(now, state=replace(now.state, status=SourceStatus.LOST))


def _printed(text: str) -> str:
    return text if text == NOT_KNOWN else text.replace("-", "−")
