"""How loud a tune plays back where players bring all to one level, and what is left above its peaks.

Source
------
Gain = level - I; true peak and headroom move with it: algebra. The levels: `meter.standards.playback_levels`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from meter.delivery.choices import LOUDEST_LUFS, QUIETEST_LUFS
from meter.errors import UsageError
from meter.soundings import Summary
from meter.standards.playback_levels import LEVELS, PlaybackLevel
from meter.targets import Limit, value_text

if TYPE_CHECKING:
    from meter.check import Checked

FULL_SCALE: Final = Limit(max=0.0)
"""What lies over it is clipped, limited or turned up less, however little it is."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Forecast:
    """What a level makes of a tune.

    Attributes
    ----------
    level : PlaybackLevel
    is_album : bool
        The loudest of several is brought there, and this one as much.
    gain_db : float
    loudness_lufs : float
        As it plays back.
    true_peak_dbtp : float
        As it plays back; without levelling it is that of the file.
    headroom_db : float
        From there to full scale; below 0 something clips, unless a limiter or a smaller gain steps in.
    is_held : bool
        It would be turned up, and was not: players often turn down only.
    """

    level: PlaybackLevel
    is_album: bool
    gain_db: float
    loudness_lufs: float
    true_peak_dbtp: float
    headroom_db: float
    is_held: bool


def level_from(text: str) -> PlaybackLevel:
    """A level by its key, or the user's own such as "-14"; `UsageError` for anything else."""
    if text in LEVELS:
        return LEVELS[text]
    try:
        own_lufs = float(text)
    except ValueError:
        own_lufs = math.nan
    if not QUIETEST_LUFS <= own_lufs <= LOUDEST_LUFS:
        raise UsageError(
            f"--playback {text} came; expected all, {', '.join(LEVELS)}, or a loudness of your own from "
            f"{QUIETEST_LUFS:g} to {LOUDEST_LUFS:g} LUFS, such as --playback=-14"
        )
    return own_level(own_lufs)


def own_level(own_lufs: float) -> PlaybackLevel:
    """The user's own, LUFS."""
    return PlaybackLevel(
        key=f"{own_lufs:g}", title="your own", document="", track_lufs=own_lufs, album_lufs=own_lufs
    )


def levels_from(text: str) -> tuple[PlaybackLevel, ...]:
    """Several, from "aes,replaygain"; "all" for every published one."""
    found: list[PlaybackLevel] = []
    for part in text.split(","):
        found += LEVELS.values() if part.strip() == "all" else [level_from(part.strip())]
    return tuple(found)


def forecast(
    level: PlaybackLevel,
    *,
    integrated_lufs: float,
    true_peak_dbtp: float,
    turns_up: bool = True,
    loudest_lufs: float | None = None,
) -> Forecast:
    """What becomes of a tune.

    Parameters
    ----------
    turns_up : bool
        Quieter tunes are turned up too.
    loudest_lufs : float, optional
        I of the loudest tune of an album that it belongs to.
    """
    wanted_db = (
        level.track_lufs - integrated_lufs if loudest_lufs is None else level.album_lufs - loudest_lufs
    )
    gain_db = wanted_db if turns_up else min(wanted_db, 0.0)
    return Forecast(
        level=level,
        is_album=loudest_lufs is not None,
        gain_db=gain_db,
        loudness_lufs=integrated_lufs + gain_db,
        true_peak_dbtp=true_peak_dbtp + gain_db,
        headroom_db=-(true_peak_dbtp + gain_db),
        is_held=gain_db < wanted_db,
    )


def forecasts_of(
    summary: Summary,
    levels: Sequence[PlaybackLevel],
    *,
    turns_up: bool = True,
    loudest_lufs: float | None = None,
) -> list[Forecast]:
    """Of a measured pass; none where it has no loudness."""
    integrated, peak = summary.integrated_lufs, summary.true_peak_dbtp
    if integrated is None or peak is None or not (math.isfinite(integrated) and math.isfinite(peak)):
        return []
    return [
        forecast(
            level,
            integrated_lufs=integrated,
            true_peak_dbtp=peak,
            turns_up=turns_up,
            loudest_lufs=loudest_lufs,
        )
        for level in levels
    ]


def forecasts_for(checked: Checked, *, loudest_lufs: float | None = None) -> list[Forecast]:
    """Of a checked file, as its options ask for."""
    options = checked.options
    return forecasts_of(
        checked.summary, options.playback, turns_up=options.turns_up, loudest_lufs=loudest_lufs
    )


def album_lines(results: Sequence[Checked]) -> Iterator[str]:
    """Several files as an album: each as it plays back when the loudest is brought to the level."""
    loud = [one for one in results if math.isfinite(one.summary.integrated_lufs or -math.inf)]
    if len(loud) < 2 or not loud[0].options.playback:
        return
    loudest_lufs = max(one.summary.integrated_lufs or -math.inf for one in loud)
    yield "How loud will they play back as an album, where players level?"
    for index, level in enumerate(loud[0].options.playback):
        yield f"  {level.title}: the loudest at {value_text(level.album_lufs)} LUFS"
        for one in loud:
            found = forecasts_for(one, loudest_lufs=loudest_lufs)[index]
            gain = value_text(found.gain_db, plus=True)
            yield f"    {gain:>6} dB to {value_text(found.loudness_lufs):>6} LUFS{_end(found)}: {one.name}"


def forecast_lines(found: Sequence[Forecast]) -> Iterator[str]:
    """A question, and a line for each level; without any it was asked of what has no loudness."""
    yield "  How loud will it play back, where players level?"
    if not found:
        yield "    silent or too short: nothing to level"
    for one in found:
        gain = value_text(one.gain_db, plus=True)
        name = one.level.title + (", album" if one.is_album else "")
        peak = value_text(one.true_peak_dbtp, limit=FULL_SCALE, plus=True)
        yield (
            f"    {name:<28}{gain:>6} dB to {value_text(one.loudness_lufs):>6} LUFS, peaks {peak} dBTP"
            f"{_end(one)}"
        )


def _end(one: Forecast) -> str:
    if one.is_held:
        return "; not turned up"
    if one.headroom_db < 0.0:
        over = value_text(one.true_peak_dbtp, limit=FULL_SCALE)
        return f", {over} dB too high: clipped, limited or turned up less"
    return f", {one.headroom_db:.1f} dB of headroom"


def forecast_objects(found: Sequence[Forecast]) -> list[dict[str, Any]]:
    """The same for programs."""
    return [
        {
            "level": one.level.key,
            "document": one.level.document or None,
            "album": one.is_album,
            "gain_db": round(one.gain_db, 3) + 0.0,
            "loudness_lufs": round(one.loudness_lufs, 3),
            "true_peak_dbtp": round(one.true_peak_dbtp, 3) + 0.0,
            "headroom_db": round(one.headroom_db, 3) + 0.0,
            "turned_up_less": one.is_held,
        }
        for one in found
    ]
