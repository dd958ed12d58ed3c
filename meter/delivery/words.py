"""What is said of encoders that were tried: lines for a terminal, objects for programs, one finding."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from meter.delivery.encoded import Encoded
from meter.findings.records import ENCODED, Finding
from meter.soundings import SOUNDINGS_A_SECOND, Over, as_text_time
from meter.targets import Limit, limit_text, value_text

if TYPE_CHECKING:
    from meter.check import Checked

MOST_PLACES: Final = 3
CAVEAT: Final = "with these encoders at these rates; what a service does to a file is not known here"


def encode_lines(encodes: Sequence[Encoded], *, from_s: float = 0.0) -> Iterator[str]:
    """A question and two lines for each encoder; nothing where none was tried."""
    if not encodes:
        return
    yield "  Will it clip once encoded?"
    yield from _lines(encodes, from_s)
    yield f"    {CAVEAT}"


def crate_lines(results: Sequence[Checked]) -> Iterator[str]:
    """The same for several files, each under its name; nothing where none was tried."""
    tried = [one for one in results if one.encodes]
    if not tried:
        return
    yield "Will they clip once encoded?"
    for one in tried:
        yield f"  {one.name}"
        yield from _lines(one.encodes, one.options.part.from_s)
    yield f"  {CAVEAT}"


def _lines(encodes: Sequence[Encoded], from_s: float) -> Iterator[str]:
    for one in encodes:
        yield f"    {one.wish.title:<16}{peak_text(one):>8} dBTP  {overs_text(one, from_s=from_s)}"
        more = "; ".join(text for text in (trim_text(one), change_text(one)) if text)
        if more:
            yield f"{'':<35}{more}"


def peak_text(one: Encoded) -> str:
    """Its true peak in dBTP; with more decimals where fewer would hide that it is over."""
    return value_text(one.true_peak_dbtp, limit=Limit(max=one.ceiling_dbtp), plus=True)


def overs_text(one: Encoded, *, from_s: float = 0.0) -> str:
    """How many peaks are above the ceiling, and where the highest are."""
    ceiling = f"{limit_text(one.ceiling_dbtp)} dBTP"
    if one.over_count == 0:
        return f"under {ceiling}"
    places = ", ".join(as_text_time(over.at_s + from_s) for over in highest(one))
    many = f"{one.over_count} peaks" if one.over_count > 1 else "1 peak"
    return f"{many} above {ceiling}, highest at {places}"


def trim_text(one: Encoded) -> str:
    """What keeps it under the ceiling; empty where nothing need be done."""
    if one.over_count == 0:
        return ""
    if one.trim_db is None:
        return "no trim was found that keeps under it"
    return f"{one.trim_db:.1f} dB lower keeps under it"


def change_text(one: Encoded) -> str:
    """What became of the loudness; empty where there is none."""
    if one.integrated_change_lu is None:
        return ""
    return f"I {value_text(one.integrated_change_lu, decimals=2, plus=True)} LU"


def highest(one: Encoded) -> list[Over]:
    """The highest overs, a second apart, in the order of time."""
    found: list[Over] = []
    for over in sorted(one.overs, key=lambda each: -each.peak_dbtp):
        if all(abs(over.at_s - other.at_s) >= 1.0 for other in found):
            found.append(over)
        if len(found) == MOST_PLACES:
            break
    return sorted(found, key=lambda each: each.at_s)


def encode_objects(encodes: Sequence[Encoded], *, from_s: float = 0.0) -> list[dict[str, Any]]:
    """The same for programs."""
    return [
        {
            "codec": one.wish.codec.key,
            "kbps": one.wish.kbps,
            "sample_rate_hz": one.rate_hz,
            "true_peak_dbtp": round(one.true_peak_dbtp, 3) if np.isfinite(one.true_peak_dbtp) else None,
            "overs": one.over_count,
            "places": [
                {"at_s": round(over.at_s + from_s, 4), "true_peak_dbtp": round(over.peak_dbtp, 3)}
                for over in highest(one)
            ],
            "integrated_change_lu": _rounded(one.integrated_change_lu),
            "ceiling_dbtp": one.ceiling_dbtp,
            "trim_db": one.trim_db,
        }
        for one in encodes
    ]


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 3) + 0.0


def encode_findings(encodes: Sequence[Encoded], *, from_s: float = 0.0) -> tuple[Finding, ...]:
    """One finding: the encoder that goes farthest over."""
    over = [one for one in encodes if one.over_count]
    if not over:
        return ()
    one = max(over, key=lambda each: each.true_peak_dbtp)
    worst = max(one.overs, key=lambda each: each.peak_dbtp)
    excess_db = one.true_peak_dbtp - one.ceiling_dbtp
    excess_text = value_text(excess_db, limit=Limit(max=0.0))  # a little is never said as 0.0
    at_s = worst.at_s + from_s
    times = "once" if one.over_count == 1 else f"{one.over_count} times"
    what = (
        f"turn the master down by {one.trim_db:.1f} dB"
        if one.trim_db is not None
        else "make it less loud before the limiter"
    )
    text = (
        f"encoded as {one.wish.title} the true peak goes {excess_text} dB over "
        f"{limit_text(one.ceiling_dbtp)} dBTP at {as_text_time(at_s)}, {times} in all: "
        f"coding adds to what is limited hard; {what}, or leave it "
        "if players turn it down anyway; that is with this encoder at this rate, another does it otherwise"
    )
    slot = round(worst.at_s * SOUNDINGS_A_SECOND)
    return (
        Finding(
            kind=ENCODED,
            first_slot=slot,
            last_slot=slot + 1,
            at_slot=slot,
            at_s=at_s,
            pass_number=1,
            severity=excess_db,
            is_open=False,
            until_s=at_s,
            amount=excess_db,
            unit="dB",
            text=text,
        ),
    )
