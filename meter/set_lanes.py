"""The lanes of the arrangement Set, and what flies on them: few words, to be read from two metres."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Final

from meter.lanes import LANES, Flag, Lane, LaneSeries, flags, lanes_for
from meter.live_pass import LivePass
from meter.now import Now, is_withheld
from meter.sentence_kinds import RECENT_S
from meter.set_settings import SetSettings
from meter.set_watch import SetNow, SetWatch
from meter.set_words import against_zero_text, age, room_text, share_text
from meter.shown import NOT_KNOWN, overs_unit
from meter.targets import Limit, Target, Verdict, value_text
from meter.units import amplitude_to_db

JUMP_FLIES_S: Final = 300.0
"""So long a jump is told by a flag."""

_SHARES_PCT: Final = (0.0, 1.0, 5.0, 25.0, 100.0)
_LOWEST_DBTP, _HIGHEST_DBTP = -24.0, 3.0
_STEP_DB: Final = 6.0
_ASIDE: Final = 0.001  # equal heights would leave the order of flags to chance

_OVER: Final = Verdict.OVER


def set_lanes(target: Target | None, settings: SetSettings) -> tuple[Lane, ...]:
    """The lanes from the top."""
    loudness = lanes_for(target)[0]
    zero = settings.mixer_zero_dbfs
    steps = range(
        math.ceil((_LOWEST_DBTP - zero) / _STEP_DB), math.floor((_HIGHEST_DBTP - zero) / _STEP_DB) + 1
    )
    return (
        Lane(
            key="loudness",
            question=loudness.question,
            unit=loudness.unit,
            lowest=loudness.lowest,
            highest=loudness.highest,
            ticks=loudness.ticks,
            series=loudness.series[:1],
        ),
        Lane(
            key="time_over",
            question="Am I over?",
            unit="%",
            lowest=0.0,
            highest=10.0,
            ticks=tuple(math.sqrt(share) for share in _SHARES_PCT),
            tick_texts=tuple(f"{share:g}" for share in _SHARES_PCT),
            series=(
                LaneSeries(
                    key="time_over_root", label="% of the last 10 min", short="% of 10 min", role="main"
                ),
                LaneSeries(key="overs", label="overs", role="marks"),
            ),
        ),
        Lane(
            key="room",
            question="How much room?",
            unit="dBTP",
            lowest=_LOWEST_DBTP,
            highest=_HIGHEST_DBTP,
            ticks=tuple(zero + step * _STEP_DB for step in steps),
            tick_texts=tuple(f"{step * _STEP_DB:+g}".replace("+0", "0").replace("-", "−") for step in steps),
            series=(LaneSeries(key="true_peak_dbtp", label="true peak", role="main"),),
            says=f"scale: dB against {settings.text}".replace("-", "−"),
        ),
    )


def set_flags(now: Now, settings: SetSettings) -> dict[str, tuple[Flag, ...]]:
    """What rides on each lane now; nothing before anything is known of a set."""
    of_set = now.of_set
    if of_set is None:
        return {}
    return {
        "loudness": (flags(now, LANES[0])[0], *_of_jump(of_set)),
        "time_over": tuple(_of_overs(now, of_set)),
        "room": tuple(_of_room(now, of_set, settings)),
    }


def _of_jump(of_set: SetNow) -> Iterator[Flag]:
    jump = of_set.jump
    if jump is not None and of_set.age_s(jump.told_s) <= JUMP_FLIES_S:
        is_louder = jump.size_db > 0.0
        yield Flag(
            key="",
            name="on the last",
            value_text=value_text(jump.size_db, plus=True),
            unit="dB",
            glyph="▲" if is_louder else "▼",
            word="louder" if is_louder else "quieter",
            at=LANES[0].lowest,
        )


def _of_overs(now: Now, of_set: SetNow) -> Iterator[Flag]:
    age_s = of_set.over_age_s
    if age_s is None:
        yield Flag(key="overs", name="overs", value_text="0", unit="so far", at=_HIGHEST_SHARE)
    else:
        number, unit = age(age_s)
        calls = age_s <= RECENT_S and not is_withheld(now.state)
        yield Flag(
            key="overs",
            name="last over",
            value_text=number,
            unit=unit,
            glyph=_OVER.glyph if calls else "",
            word=_OVER.word if calls else "",
            at=_HIGHEST_SHARE,
        )
    whole = f", set {share_text(of_set.over_pct)} %"
    yield _share("of 10 min", of_set.recent_over_pct, whole)


def _share(name: str, share_pct: float | None, more: str = "") -> Flag:
    at = 0.0 if share_pct is None else 10.0 * math.sqrt(share_pct / 100.0)
    text = share_text(share_pct)
    return Flag(key="time_over_root", name=name, value_text=text, unit=f"%{more}", at=at)


_HIGHEST_SHARE: Final = 10.0 + _ASIDE


def _of_room(now: Now, of_set: SetNow, settings: SetSettings) -> Iterator[Flag]:
    room_db = of_set.room_db
    is_over = room_db is not None and room_db < 0.0 and not is_withheld(now.state)
    yield Flag(
        key="",
        name="room, 1 min",
        value_text=room_text(of_set),
        unit="dB",
        glyph=_OVER.glyph if is_over else "",
        word=_OVER.word if is_over else "",
        at=of_set.limit_dbtp if of_set.highest_dbtp is None else of_set.highest_dbtp,
    )
    text = against_zero_text(now, settings)
    yield Flag(
        key="true_peak_dbtp",
        name="against my 0",
        value_text=text,
        unit="dB",
        at=None if text == NOT_KNOWN else float(text) + settings.mixer_zero_dbfs - _ASIDE,
    )


def set_spoken(lane: Lane, shown: Sequence[Flag]) -> str:
    """A lane in words, for those who do not see it."""
    said = "; ".join(" ".join(part for part in flag.text.split(" ") if part != flag.glyph) for flag in shown)
    return f"{lane.question} {said or 'nothing yet'}"


def file_set_flags(live_pass: LivePass) -> dict[str, tuple[Flag, ...]]:
    """What is known of a whole file, or pass, as if it had been a set; its loudness is said elsewhere."""
    watch, rows = SetWatch(), live_pass.store.rows()
    watch.take(rows, live_pass)
    of_set = watch.now
    peak_dbtp = amplitude_to_db(float(rows["true_peak"].max(initial=0.0)))
    found = [_share("of all", of_set.over_pct)]
    if of_set.overs:
        unit = overs_unit(of_set.overs)
        found.append(Flag(key="overs", name="", value_text=str(of_set.overs), unit=unit, at=_HIGHEST_SHARE))
    rooms: tuple[Flag, ...] = ()
    if math.isfinite(peak_dbtp):
        room_db = live_pass.over_limit_dbtp - peak_dbtp
        word = _OVER if room_db < 0.0 else None
        rooms = (
            Flag(
                key="",
                name="room of all",
                value_text=value_text(room_db, limit=Limit(min=0.0)),
                unit="dB",
                glyph="" if word is None else word.glyph,
                word="" if word is None else word.word,
                at=peak_dbtp,
            ),
        )
    return {"time_over": tuple(found), "room": rooms}
