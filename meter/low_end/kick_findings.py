"""What is found in the kicks: bodies in the sub's way or outside the user's band, hits that are cancelled."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from meter.findings.records import Finding
from meter.low_end.kick_reader import SUB_BAND_HZ
from meter.low_end.kick_records import Hit, Kicks
from meter.low_end.records import LowEnd
from meter.low_end.settings import LowEndSettings
from meter.soundings import SOUNDINGS_A_SECOND, as_text_time

FEWEST: Final = 6
"""So many hits in a row are a finding."""
ODD: Final = 1
"""So many others between them do not end it."""
NEAR_BAND_HZ: Final = 2.0
"""What is so near to the user's band is inside it: no kick is told more exactly."""
LEAST_SHARE: Final = 0.5
"""And so much of its energy lies inside the sub's band."""
MOST: Final = 5
MOST_SPREAD_HZ: Final = 6.0
LEAST_TOLD: Final = 0.5
"""Bodies that differ more, or of which fewer are told, are no one kick that could be held against a band."""
IN_SUB, OUTSIDE, CANCELS = "kick in sub", "kick body", "kick cancels"


def kick_findings(low_end: LowEnd, settings: LowEndSettings, *, from_s: float) -> tuple[Finding, ...]:
    """Kicks that are in the way, in the order of time; at most five of a kind."""
    kicks = low_end.kicks
    if kicks is None:
        return ()
    sub_hz = sub_range_hz(low_end)
    kinds = [_kind(hit, sub_hz, settings.kick_band_hz) for hit in kicks.hits]
    found = []
    runs = [[kicks.hits[k] for k in run] for run in _runs([kind == IN_SUB for kind in kinds])]
    told = [_finding(IN_SUB, run, sub_hz, settings, from_s) for run in runs]
    found += sorted(told, key=lambda one: -one.severity)[:MOST]
    outside = [hit for hit, kind in zip(kicks.hits, kinds) if kind == OUTSIDE]
    if _is_one_kick(kicks) and len(outside) >= max(FEWEST, LEAST_TOLD * kicks.told):
        found.append(_finding(OUTSIDE, outside, sub_hz, settings, from_s))
    if kicks.adds_db is not None and kicks.adds_db < 0.0:
        found.append(_cancelled([hit for hit in kicks.hits if hit.has_sub], -kicks.adds_db, from_s))
    return tuple(sorted(found, key=lambda one: one.first_slot))


def sub_range_hz(low_end: LowEnd) -> tuple[float, float]:
    """Where the sub's notes are: from the lowest to the highest heard, a semitone more on both sides."""
    notes_hz = [note.hz for note in low_end.sub_notes]
    if len(notes_hz) < FEWEST:
        return SUB_BAND_HZ
    semitone = 2.0 ** (1.0 / 12.0)
    low, high = (float(hz) for hz in np.percentile(notes_hz, [5.0, 95.0]))
    return low / semitone, high * semitone


def _kind(hit: Hit, sub_hz: tuple[float, float], wanted_hz: tuple[float, float]) -> str:
    hz = hit.body.hz
    if hz is None or wanted_hz[0] - NEAR_BAND_HZ <= hz <= wanted_hz[1] + NEAR_BAND_HZ:
        return ""
    is_inside = sub_hz[0] <= hz <= sub_hz[1] and hit.body.sub_share >= LEAST_SHARE
    return IN_SUB if is_inside and hit.has_sub else OUTSIDE


def _is_one_kick(kicks: Kicks) -> bool:
    """Whether one body can be told of all of them."""
    is_told = kicks.told >= LEAST_TOLD * kicks.count
    return is_told and kicks.spread_hz is not None and kicks.spread_hz <= MOST_SPREAD_HZ


def _runs(is_one: Sequence[bool]) -> list[list[int]]:
    """Numbers of hits that belong together."""
    runs: list[list[int]] = []
    for k in (k for k, one in enumerate(is_one) if one):
        if runs and k - runs[-1][-1] <= ODD + 1:
            runs[-1].append(k)
        else:
            runs.append([k])
    return [run for run in runs if len(run) >= FEWEST]


def _finding(
    kind: str, hits: list[Hit], sub_hz: tuple[float, float], settings: LowEndSettings, from_s: float
) -> Finding:
    bodies_hz = [hit.body.hz for hit in hits if hit.body.hz is not None]
    hz = float(np.median(bodies_hz))
    low, high = settings.kick_band_hz
    off_hz = max(low - hz, hz - high, 0.0)
    where = f"{_span(hits)} the kick settles at {hz:.0f} Hz ({len(hits)} hits)"
    if kind == IN_SUB:
        share = float(np.median([hit.body.sub_share for hit in hits]))
        # Notes that were told, or only where they usually are.
        notes = "where a sub plays" if sub_hz == SUB_BAND_HZ else "among the sub's notes"
        text = (
            f"{where}, {notes} ({sub_hz[0]:.0f} to {sub_hz[1]:.0f} Hz); "
            f"{100.0 * share:.0f} % of its low end lies there: the two take each other's room; tune the "
            f"kick to {low:.0f} to {high:.0f} Hz, shorten it or duck the sub under it, "
            "or leave it if the kick is meant to carry the low end"
        )
    else:
        side = "under" if hz < low else "over"
        text = (
            f"{where}, {off_hz:.0f} Hz {side} the {low:.0f} to {high:.0f} Hz that you want: tune it or "
            "choose another one, or set your own band (--kick-band, in the window Ctrl+L); leave it if it "
            "sits well"
        )
    return _made(kind, hits, from_s, amount=hz, unit="Hz", severity=off_hz * len(hits), text=text)


def _cancelled(hits: list[Hit], less_db: float, from_s: float) -> Finding:
    text = (
        f"{_span(hits)} hit and sub together are {less_db:.1f} dB less than the hit alone, in the middle of "
        f"{len(hits)} hits: they cancel; with both as stems `leadline together KICK SUB` says what helps; "
        "leave it if the kick is another one where the sub plays"
    )
    return _made(CANCELS, hits, from_s, amount=less_db, unit="dB", severity=less_db * len(hits), text=text)


def _span(hits: list[Hit]) -> str:
    return f"from {as_text_time(hits[0].at_s)} to {as_text_time(hits[-1].at_s)}"


def _made(
    kind: str, hits: list[Hit], from_s: float, *, amount: float, unit: str, severity: float, text: str
) -> Finding:
    first, last = (round(max(hit.at_s - from_s, 0.0) * SOUNDINGS_A_SECOND) for hit in (hits[0], hits[-1]))
    return Finding(
        kind=kind,
        first_slot=first,
        last_slot=last + 1,
        at_slot=first,
        at_s=max(hits[0].at_s, 0.0),
        pass_number=1,
        severity=severity,
        is_open=False,
        text=text,
        until_s=max(hits[-1].at_s, 0.0),
        amount=amount,
        unit=unit,
    )
