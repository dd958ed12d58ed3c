"""The kicks in words."""

from __future__ import annotations

from collections.abc import Iterator

from meter.low_end.kick_records import Kicks
from meter.low_end.records import LowEnd
from meter.low_end.settings import LowEndSettings


def kick_lines(low_end: LowEnd, settings: LowEndSettings) -> Iterator[str]:
    """What is said of the kicks under a file."""
    kicks = low_end.kicks
    if kicks is None or not kicks.count:
        return
    yield "  Is the kick clear of the sub?"
    yield f"    {_counted(kicks)}"
    yield f"    {body_text(kicks, settings)}"
    if kicks.level_dbfs is not None and kicks.crest_db is not None:
        yield f"    {_level(kicks, kicks.level_dbfs, kicks.crest_db)}"
    yield f"    {sub_text(kicks)}"
    yield f"    {adds_text(kicks)}"


def _counted(kicks: Kicks) -> str:
    found = "1 kick" if kicks.count == 1 else f"{kicks.count} kicks"
    if kicks.told == kicks.count or not kicks.told:
        return found
    return f"{found}; of {kicks.count - kicks.told} the body does not settle, or is not told"


def body_text(kicks: Kicks, settings: LowEndSettings) -> str:
    """Where they settle, against the band that is wanted."""
    low, high = settings.kick_band_hz
    if kicks.body_hz is None or kicks.spread_hz is None:
        return "body: does not settle, or is not told"
    spread = f"half of them within ±{max(kicks.spread_hz, 0.1):.1f} Hz" if kicks.told > 1 else "one hit"
    if kicks.body_hz < low:
        verdict = f"{low - kicks.body_hz:.0f} Hz under"
    elif kicks.body_hz > high:
        verdict = f"{kicks.body_hz - high:.0f} Hz over"
    else:
        verdict = "inside"
    return f"body: {kicks.body_hz:.1f} Hz, {spread}; {verdict} your {low:.0f} to {high:.0f} Hz"


def _level(kicks: Kicks, level_dbfs: float, crest_db: float) -> str:
    length = "" if kicks.seconds is None else f"length: {1000.0 * kicks.seconds:.0f} ms; "
    share = "" if kicks.sub_share is None else f"; {100.0 * kicks.sub_share:.0f} % of it in the sub's band"
    return f"{length}level: {level_dbfs:.1f} dBFS, crest {crest_db:.1f} dB{share}"


def sub_text(kicks: Kicks) -> str:
    """The sub under the kicks against between them."""
    if kicks.sub_under_db is None:
        return "sub under the kicks: not told; too few kicks without a sub to know their own part"
    if kicks.sub_under_db < 1.0:
        return "sub under the kicks: as loud as between them"
    return f"sub under the kicks: {kicks.sub_under_db:.0f} dB lower than between them"


def adds_text(kicks: Kicks) -> str:
    """Whether hit and sub add or cancel."""
    if kicks.adds_db is None:
        return "add or cancel: a mix does not tell; `leadline together KICK SUB` does, from the two stems"
    if kicks.adds_db > 0.0:
        return f"add or cancel: together at least {kicks.adds_db:.1f} dB more than both apart"
    return f"add or cancel: together {-kicks.adds_db:.1f} dB less than the hit alone"
