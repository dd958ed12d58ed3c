"""Delivery as tables, for the window and the report: what encoders do to a pass, how loud it plays back."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Final

from meter.delivery.encoded import Encoded
from meter.delivery.playback import FULL_SCALE, Forecast
from meter.delivery.words import change_text, highest, overs_text, peak_text, trim_text
from meter.soundings import Summary, as_text_time
from meter.targets import limit_text, value_text

CLIPS: Final = "Will it clip once encoded?"
ENCODE_HEADINGS: Final = ("", "true peak", "peaks over", "highest at", "loudness", "to keep under it")
PLAYS: Final = "How loud will it play back, where players level?"
PLAYBACK_HEADINGS: Final = ("brought to", "gain", "loudness", "true peak", "headroom")
AS_IT_IS: Final = "not levelled"


def ceiling_text(ceiling_dbtp: float) -> str:
    """What encoders are held against."""
    return (
        f"Held against {limit_text(ceiling_dbtp)} dBTP; with these encoders at these rates. What a service "
        "does to a file is not known here."
    )


def encode_cells(encodes: Sequence[Encoded], *, from_s: float = 0.0) -> list[tuple[str, ...]]:
    """A row for each encoder, under `ENCODE_HEADINGS`."""
    return [
        (
            f"{one.wish.title}, {one.rate_hz / 1000:g} kHz",
            f"{peak_text(one)} dBTP",
            str(one.over_count),
            ", ".join(as_text_time(over.at_s + from_s) for over in highest(one)),
            _change(one.integrated_change_lu),
            _trim(one),
        )
        for one in encodes
    ]


def _change(change_lu: float | None) -> str:
    return "--" if change_lu is None else f"{value_text(change_lu, decimals=2, plus=True)} LU"


def _trim(one: Encoded) -> str:
    if one.over_count == 0:
        return "as it is"
    return "none was found" if one.trim_db is None else f"{one.trim_db:.1f} dB lower"


def playback_cells(
    summary: Summary, found: Sequence[Forecast], album: Sequence[Forecast] = (), *, of_album: int = 0
) -> list[tuple[str, ...]]:
    """A row for each level, under `PLAYBACK_HEADINGS`, after one of what it is without; none of silence."""
    if not found:
        return []
    return [*_rows(summary, found), *(_row(f"{one.level.title}, album of {of_album}", one) for one in album)]


def _rows(summary: Summary, found: Sequence[Forecast]) -> Iterator[tuple[str, ...]]:
    integrated, peak = summary.integrated_lufs, summary.true_peak_dbtp
    assert integrated is not None and peak is not None, "there are forecasts of it"
    yield (AS_IT_IS, "", *_three(integrated, peak))
    yield from (_row(one.level.title, one) for one in found)


def _row(title: str, one: Forecast) -> tuple[str, ...]:
    gain = f"{value_text(one.gain_db, plus=True)} dB"
    if one.is_held:
        gain += ", not turned up"
    return (title, gain, *_three(one.loudness_lufs, one.true_peak_dbtp))


def _three(loudness_lufs: float, peak_dbtp: float) -> tuple[str, str, str]:
    headroom = f"{value_text(-peak_dbtp)} dB" if math.isfinite(peak_dbtp) else "--"
    peak = value_text(peak_dbtp, limit=FULL_SCALE, plus=True)
    if peak_dbtp > 0.0:
        headroom = f"{peak.lstrip('+')} dB too high"
    return f"{value_text(loudness_lufs)} LUFS", f"{peak} dBTP", headroom


def short_line(one: Encoded) -> str:
    """One encoder in the narrow list of passes."""
    return f"{one.wish.codec.title} {one.wish.kbps}  TP {peak_text(one)}"


def full_line(one: Encoded) -> str:
    """The same with all that was found."""
    peak = f"{peak_text(one)} dBTP"
    told = (peak, overs_text(one), trim_text(one), change_text(one))
    return f"{one.wish.title}: {'; '.join(text for text in told if text)}"
