"""The flags of a whole file: in each lane the numbers of all of it, with their verdicts."""

from __future__ import annotations

import math
from typing import Final

from meter.check import Checked
from meter.lanes import Flag, Lane
from meter.music_sentences import band_text
from meter.shown import BELOW, NOT_KNOWN, SIGNED, overs_unit
from meter.summary_keys import value_of
from meter.targets import MEASURES, value_text

_LOUDNESS: Final = {"loudest_30s_lufs": "loudest 30 s", "integrated_lufs": "integrated"}


def file_flags(checked: Checked, lane: Lane) -> tuple[Flag, ...]:
    """What flies on a lane while a file is shown; of no series, for it tells of the whole pass."""
    summary = checked.summary
    if lane.key == "loudness":
        return tuple(_flag(checked, key, name, "LUFS") for key, name in _LOUDNESS.items())
    if lane.key == "peak":
        made = [_flag(checked, "true_peak_dbtp", "highest", "dBTP")]
        if summary.overs:
            made.append(
                Flag(key="overs", name="", value_text=str(summary.overs), unit=overs_unit(summary.overs))
            )
        return tuple(made)
    if summary.channels == 1:
        word = "one channel" if lane.key == "sides" else "nothing"
        return (Flag(key="", name=word, value_text="", unit=""),)
    if lane.key == "sides":
        return (_flag(checked, "correlation", "r of all", ""),)
    return (_flag(checked, BELOW, band_text("below_crossover", checked.options.crossover_hz), "dB"),)


def _flag(checked: Checked, key: str, name: str, unit: str) -> Flag:
    value, target = value_of(checked.summary, key), checked.options.target
    limit = None if target is None else target.limits.get(key)
    verdict = checked.verdicts.get(key)
    text = NOT_KNOWN
    if value is not None and not math.isnan(value):
        text = value_text(value, decimals=MEASURES[key].decimals, limit=limit, plus=key in SIGNED)
    return Flag(
        key=f"whole {key}",
        name=name,
        value_text=text,
        unit=unit,
        glyph="" if verdict is None else verdict.glyph,
        word="" if verdict is None else verdict.word,
    )
