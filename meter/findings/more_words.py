"""The sentences of what is too loud, flat, missing, against each other, or off centre."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from meter.findings.excess import correlation_of, loudness_of, offset_of
from meter.findings.found import Found
from meter.soundings import as_text_time
from meter.targets import Limit, limit_text, value_text
from meter.units import amplitude_to_db


def _where(found: Found) -> str:
    since = as_text_time(found.first_s)
    return f"since {since}" if found.is_open else f"from {since} to {as_text_time(found.until_s)}"


def _too_loud(found: Found) -> str:
    loudness = loudness_of(found.sums)
    over = value_text(loudness - found.limit_db, limit=Limit(max=0.0))
    return (
        f"for 3 s and more it is {over} LU over {limit_text(found.limit_db)} LUFS {_where(found)}: more "
        "drive or a fuller arrangement than the rest; turn it down by as much, or leave it if it is the one "
        "peak of the tune and the loudest 30 s are inside"
    )


def _flat_tops(found: Found) -> str:
    tops = f"{found.count} flat {'top' if found.count == 1 else 'tops'}"
    peak = value_text(found.peak_dbtp)  # never "-0.0"
    return (
        f"{tops} {_where(found)}, the longest {found.frames} samples long, up to {peak} dBFS: "
        "a clipper, or an input that was too hot; take its drive back, or leave it if clipping is the sound"
    )


def _dropout(found: Found) -> str:
    ms = 1000.0 * found.frames / found.live_pass.rate_hz
    if found.count == 1:
        what = f"{ms:.1f} ms of digital silence cut into the sound at {as_text_time(found.first_s)}"
    else:
        what = f"{ms:.1f} ms of digital silence in {found.count} pieces cut into the sound {_where(found)}"
    return (
        f"{what}: a drop-out while it was recorded or rendered; render it again and listen there, or leave "
        "it if it is a stutter that is meant"
    )


def _against(found: Found) -> str:
    r = value_text(correlation_of(found.sums), decimals=2, limit=Limit(min=found.limit_db))
    return (
        f"left and right work against each other {_where(found)}, r {r}: a widener or a swapped pole; "
        "turn one side round or make it narrower, or leave it if it never plays in mono"
    )


def _dc(found: Found) -> str:
    offset = offset_of(found.sums)
    side = {"1": "left", "2": "right"}.get(found.subject[:-1], f"channel {found.subject[:-1]}")
    side = f"{'the sound' if found.live_pass.channels == 1 else side} stands"
    if found.is_on_both:
        side = "left and right stand up to" if found.live_pass.channels == 2 else f"{side}, as others do,"
    lost_db = -amplitude_to_db(max(1.0 - abs(offset), 1e-3))
    return (
        f"{side} {100.0 * offset:+.1f} % off centre {_where(found)}, which takes {lost_db:.2f} dB of "
        "headroom: DC from an input or an uneven waveshaper; put a DC filter or a soft high-pass at 5 Hz on "
        "it, or leave it if nothing comes near full scale"
    )


def _silent_end(found: Found) -> str:
    is_start = found.subject == "start"
    what = f"{found.seconds:.1f} s of silence"
    if is_start:
        return (
            f"{what} before the sound, from {as_text_time(found.first_s)} to {as_text_time(found.until_s)}: "
            "the render began too early; cut it, or leave it if the tune is meant to wait"
        )
    return (
        f"{what} behind the sound, from {as_text_time(found.first_s)} to {as_text_time(found.until_s)}: "
        "the render ran on; cut it, or leave it if the gap to the next tune is meant"
    )


WORDS: Final[dict[str, Callable[[Found], str]]] = {
    "too loud": _too_loud,
    "flat tops": _flat_tops,
    "drop-out": _dropout,
    "against": _against,
    "dc": _dc,
    "silent end": _silent_end,
}
