"""What is said of a set: ages, shares, levels against the mixer's 0, the line of the text meter."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final

from meter.now import Now
from meter.sentence_kinds import Kind
from meter.set_settings import SetSettings
from meter.set_watch import SetNow
from meter.shown import NOT_KNOWN
from meter.targets import Limit, value_text
from meter.tunes.live import Jump
from meter.units import amplitude_to_db

_ROOM: Final = Limit(min=0.0)


def age(seconds: float) -> tuple[str, str]:
    """How long ago something was: number and unit, in few digits."""
    if seconds < 99.5:
        return f"{seconds:.0f}", "s ago"
    if seconds < 99.5 * 60.0:
        return f"{seconds / 60.0:.0f}", "min ago"
    return f"{seconds / 3600.0:.1f}", "h ago"


def share_text(share_pct: float | None) -> str:
    """A share in percent: some never reads as none, and not all never as all."""
    if share_pct is None:
        return NOT_KNOWN
    if 0.0 < share_pct < 0.1:
        return "<0.1"
    if share_pct < 9.95:
        return f"{share_pct:.1f}"
    return "99" if 99.0 < share_pct < 100.0 else f"{share_pct:.0f}"


def room_text(of_set: SetNow) -> str:
    """Room in dB; below 0 when it was over, however little."""
    return NOT_KNOWN if of_set.room_db is None else value_text(of_set.room_db, limit=_ROOM)


def against_zero_db(now: Now, settings: SetSettings) -> float | None:
    """The highest true peak of the newest 3 s against the mixer's 0; None where nothing is heard."""
    if not now.is_heard or len(now.recent) == 0:
        return None
    peak = float(now.recent["true_peak"].max())
    return amplitude_to_db(peak) - settings.mixer_zero_dbfs if peak > 0.0 else None


def against_zero_text(now: Now, settings: SetSettings) -> str:
    """The same as text."""
    level_db = against_zero_db(now, settings)
    return NOT_KNOWN if level_db is None else value_text(level_db, plus=True)


def jump_text(jump: Jump) -> str:
    """What to say of a jump while the tune plays."""
    size, trim = value_text(jump.size_db, plus=True), value_text(-jump.size_db, plus=True)
    return f"this tune {size} dB on the last: try {trim} dB"


def last_over_text(of_set: SetNow) -> str:
    """When it was over at last."""
    if of_set.over_age_s is None:
        return "no over so far"
    return "last over " + " ".join(age(of_set.over_age_s))


def set_line(now: Now, settings: SetSettings, *, beside: Kind | None = None) -> str:
    """All of it in one line, for the text meter.

    Parameters
    ----------
    now : Now
    settings : SetSettings
    beside : Kind, optional
        Of the sentence that stands beside the line; what that says is left out of it.
    """
    of_set = now.of_set
    if of_set is None:
        return ""
    return ", ".join(_parts(now, of_set, settings, with_rest=beside is not Kind.LOUDNESS))


def _parts(now: Now, of_set: SetNow, settings: SetSettings, *, with_rest: bool) -> Iterator[str]:
    if with_rest:  # a set's sentence on loudness says when it was over at last, and the room
        yield last_over_text(of_set)
    recent, whole = share_text(of_set.recent_over_pct), share_text(of_set.over_pct)
    yield f"{recent} % of 10 min, {whole} % of the set"
    if with_rest:
        yield f"room {room_text(of_set)} dB"
    yield f"{against_zero_text(now, settings)} dB on {settings.text}"


def end_text(of_set: SetNow) -> str:
    """What the time over came to, once the set has ended."""
    if of_set.over_age_s is None:
        never = "Nothing in the set was over" if of_set.over_s == 0 else "No over in the set, but flat tops"
        return f"  {never}."
    before = " ".join(age(of_set.over_age_s)).removesuffix(" ago")
    share = share_text(of_set.over_pct)
    return f"  Over in {of_set.over_s} s, {share} % of the set; at last {before} before its end."


def set_object(of_set: SetNow) -> dict[str, Any]:
    """What a set came to, for programs; what cannot be given is null."""
    jump = of_set.jump
    return {
        "type": "set",
        "seconds": round(of_set.seconds, 3),
        "heard_s": of_set.heard_s,
        "over_s": of_set.over_s,
        "over_pct": of_set.over_pct,
        "recent_over_pct": of_set.recent_over_pct,
        "overs": of_set.overs,
        "last_over_at_s": of_set.last_over_s,
        "over_limit_dbtp": of_set.limit_dbtp,
        "room_db": of_set.room_db,
        "dropouts": of_set.dropouts,
        "last_jump_at_s": None if jump is None else jump.at_s,
        "last_jump_db": None if jump is None else jump.size_db,
    }
