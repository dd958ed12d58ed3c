"""The part of a pass that was chosen in the lanes: measured again from its soundings, and in words."""

from __future__ import annotations

import math

import numpy as np

from meter.music_sentences import band_text
from meter.selection import Part
from meter.shown import NOT_KNOWN
from meter.soundings import Summary, as_text_time
from meter.targets import value_text
from meter.timeline import Timeline

_BANDS = ("below_crossover", "20-60", "60-120", "120-250")


def part_of(timeline: Timeline, first_slot: int, last_slot: int) -> Part | None:
    """The soundings that begin in [first_slot, last_slot).

    Returns
    -------
    Part or None
        None where nothing was measured, or where they are of more than one pass.
    """
    pieces = timeline.rows(first_slot, last_slot)
    if not pieces or any(live_pass is not pieces[0][0] for live_pass, _ in pieces):
        return None
    live_pass = pieces[0][0]
    return Part(
        rows=np.concatenate([rows for _, rows in pieces]),
        rate_hz=live_pass.rate_hz,
        channels=live_pass.channels,
        weights=live_pass.weights,
    )


def part_lines(timeline: Timeline, first_slot: int, last_slot: int) -> list[str]:
    """Its numbers, each in a short line of its own, under one that says where it is.

    Parameters
    ----------
    timeline : Timeline
    first_slot, last_slot : int
        The part is [first_slot, last_slot).
    """
    pieces = timeline.rows(first_slot, last_slot)
    if not pieces:
        return ["nothing was measured here"]
    part = part_of(timeline, first_slot, last_slot)
    if part is None:
        return ["two passes", "this part reaches from one pass into another; choose within one"]
    live_pass, summary = pieces[0][0], part.summary()
    begins_s = float(part.rows["start_frame"][0]) / part.rate_hz
    ends_s = float(part.rows["start_frame"][-1] + part.rows["frames"][-1]) / part.rate_hz
    off_s = timeline.begins_s(max(first_slot, timeline.runs_in(first_slot, last_slot)[0].first_slot))
    lines = [
        f"{as_text_time(begins_s - off_s)} to {as_text_time(ends_s - off_s)}",
        f"{summary.seconds:.1f} s",
        f"I {_text(summary.integrated_lufs)} LUFS",
        _loudest(summary),
        f"LRA {_text(summary.loudness_range_lu)} LU{'' if summary.loudness_range_stable else ', under 60 s'}",
        f"true peak {_text(summary.true_peak_dbtp, plus=True)} dBTP",
        f"PLR {_text(summary.peak_to_loudness_lu)} LU",
    ]
    if live_pass.channels == 1:
        return lines
    lines.append("lost in mono:")
    for band in _BANDS:
        is_whole = band == "below_crossover"
        name = band_text(band, live_pass.crossover_hz) if is_whole else f"{band} Hz"
        lines.append(f"{name} {_text(summary.fold_loss_db.get(band))} dB")
    return lines


def _loudest(summary: Summary) -> str:
    if summary.loudest_30s_is_whole:
        return "loudest 30 s: shorter than that"
    return f"loudest 30 s {_text(summary.loudest_30s_lufs)} LUFS"


def _text(value: float | None, *, plus: bool = False) -> str:
    return NOT_KNOWN if value is None or math.isnan(value) else value_text(value, plus=plus)

