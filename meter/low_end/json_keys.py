"""The low end as keys of the JSON: those of a checked file, and of what was heard.

Each part has its function and its keys here, and says in ``why`` why a value is null.
"""

from __future__ import annotations

import math
from typing import Any

from meter.low_end.kick_records import Hit
from meter.low_end.mono_json import mono_object
from meter.low_end.note_records import SubNote, Unpitched
from meter.low_end.records import LowEnd


def low_end_object(low_end: LowEnd, why: dict[str, str], *, crossover_hz: float) -> dict[str, Any]:
    """The keys and what stands under them; why a value is null goes into `why`."""
    mono = mono_object(low_end, crossover_hz=crossover_hz)
    if mono is None:
        why["mono"] = "not yet"
    return {**_notes(low_end, why), **_kicks(low_end, why), "mono": mono}


def _notes(low_end: LowEnd, why: dict[str, str]) -> dict[str, Any]:
    if low_end.tuning_cents is None:
        why["tuning_cents"] = "does not apply"  # too few notes, or none shared: no more will come
    return {
        "sub_notes": [note_object(note) for note in low_end.sub_notes],
        "no_single_pitch": [_unpitched(one) for one in low_end.unpitched],
        "tuning_cents": low_end.tuning_cents,
    }


def note_object(note: SubNote) -> dict[str, Any]:
    """One note."""
    return {
        "at_s": round(note.at_s, 4),
        "seconds": round(note.seconds, 4),
        "hz": round(note.hz, 4),
        "note": note.note,
        "cents": round(note.cents, 3),
        "uncertainty_cents": round(note.uncertainty_cents, 3),
        "level_dbfs": _finite(note.level_dbfs),
        "share_under_40_hz": round(note.share_under_40_hz, 4),
        "beat_hz": round(note.beat_hz, 4),
        "is_in_key": note.is_in_key,
    }


def _unpitched(one: Unpitched) -> dict[str, Any]:
    return {
        "at_s": round(one.at_s, 4),
        "seconds": round(one.seconds, 4),
        "level_dbfs": _finite(one.level_dbfs),
    }


def _kicks(low_end: LowEnd, why: dict[str, str]) -> dict[str, Any]:
    kicks = low_end.kicks
    if kicks is None or not kicks.count:
        why["kicks"] = "not yet" if kicks is None else "does not apply"
        return {"kicks": None}
    return {
        "kicks": {
            "count": kicks.count,
            "told": kicks.told,
            "body_hz": _rounded(kicks.body_hz),
            "spread_hz": _rounded(kicks.spread_hz),
            "seconds": _rounded(kicks.seconds, 4),
            "level_dbfs": _rounded(kicks.level_dbfs),
            "crest_db": _rounded(kicks.crest_db),
            "sub_share": _rounded(kicks.sub_share, 4),
            "sub_under_db": _rounded(kicks.sub_under_db),
            "adds_db": _rounded(kicks.adds_db),
            "hits": [_hit(hit) for hit in kicks.hits],
        }
    }


def _hit(hit: Hit) -> dict[str, Any]:
    return {
        "at_s": round(hit.at_s, 4),
        "body_hz": _rounded(hit.body.hz),
        "seconds": _rounded(hit.body.seconds, 4),
        "level_dbfs": _rounded(hit.body.level_dbfs),
        "crest_db": _rounded(hit.body.crest_db),
        "sub_share": _rounded(hit.body.sub_share, 4),
    }


def _rounded(value: float | None, digits: int = 2) -> float | None:
    return None if value is None or not math.isfinite(value) else round(value, digits)


def _finite(value: float) -> float | None:
    return round(value, 2) if math.isfinite(value) else None
