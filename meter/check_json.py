"""A checked file as one JSON object on one line.

The keys mean the same in every output of the program. JSON knows no infinity: silence is
null, as is all that cannot be given, and ``why_null`` says why.
"""

from __future__ import annotations

import json
import math
from typing import Any, Final

from meter.check import Checked, Failed
from meter.findings.records import Finding
from meter.low_end.json_keys import low_end_object
from meter.pollution import Suggestion
from meter.soundings import BANDS, SOUNDINGS_A_SECOND
from meter.summary_keys import value_of, why_null

PLAIN_KEYS: Final = (
    "integrated_lufs",
    "loudness_range_lu",
    "loudness_range_stable",
    "momentary_max_lufs",
    "short_term_max_lufs",
    "loudest_30s_lufs",
    "loudest_30s_at_s",
    "true_peak_dbtp",
    "sample_peak_dbfs",
    "peak_to_loudness_lu",
    "correlation",
)
"""Values that stand in a summary under the same key."""


def file_object(checked: Checked) -> dict[str, Any]:
    """The object of a checked file, ready to be written."""
    summary = checked.summary
    why: dict[str, str] = {}

    def plain(key: str) -> float | None:
        value = value_of(summary, key)
        if value is None:
            why[key] = why_null(summary, key)
        elif math.isinf(value):
            why[key] = "silence"
            return None
        return value

    made: dict[str, Any] = {
        "type": "file",
        "path": checked.name,
        "seconds": summary.seconds,
        "sample_rate_hz": _whole(summary.sample_rate_hz),
        "channels": summary.channels,
    }
    part = checked.options.part
    if not part.is_whole:
        made |= {"from_s": part.from_s, "to_s": part.from_s + summary.seconds}
    made |= {key: plain(key) for key in PLAIN_KEYS}
    made["fold_loss_db"] = {band: plain(f"fold_loss_db.{band}") for band in BANDS}
    made["low_correlation"] = plain("low_correlation")
    made |= {
        "lost_frames": summary.lost_frames,
        "gaps": [{"at_s": gap.at_s, "frames": gap.frames} for gap in summary.gaps],
        "nonfinite_samples": summary.nonfinite_samples,
        "overs": summary.overs,
        "flat_top_runs": summary.flat_top_runs,
        "dropouts": summary.dropouts,
        "dc_offset": list(summary.dc_offset),
    }
    if checked.low_end is not None:  # keys only where it was looked at
        made |= low_end_object(
            checked.low_end, why, crossover_hz=checked.options.crossover_hz
        )
    if checked.options.playback:
        from meter.delivery.playback import forecast_objects, forecasts_for

        made["playback"] = forecast_objects(forecasts_for(checked))
    if checked.options.encodes:
        from meter.delivery.words import encode_objects

        made["encodes"] = encode_objects(checked.encodes, from_s=checked.options.part.from_s)
    target = checked.options.target
    if target is None:
        why["target"] = "does not apply"
    made["target"] = None if target is None else target.name
    made["verdicts"] = {key: verdict.word for key, verdict in checked.verdicts.items()}
    made["findings"] = [_finding(one) for one in checked.findings]
    made["suggestions"] = [_suggestion(one) for one in checked.suggestions]
    made["why_null"] = why
    return made


def _finite(value: float | None) -> float | None:
    return value if value is not None and math.isfinite(value) else None


def _finding(finding: Finding) -> dict[str, Any]:
    return {
        "at_s": finding.at_s,
        "until_s": finding.until_s,
        "kind": finding.kind,
        "amount": _finite(finding.amount),
        "unit": finding.unit,
        "text": finding.text,
    }


def _suggestion(one: Suggestion) -> dict[str, Any]:
    """Something that may not belong to the pass, and I without it."""
    return {
        "kind": one.kind,
        "spans_s": [[start / SOUNDINGS_A_SECOND, stop / SOUNDINGS_A_SECOND] for start, stop in one.spans],
        "integrated_lufs": _finite(one.integrated_lufs),
        "gain_db": one.gain_db,
        "text": one.text,
    }


def error_object(failed: Failed) -> dict[str, Any]:
    """The object of a file that could not be read."""
    return {"type": "error", "path": failed.name, "message": failed.message}


def as_line(made: dict[str, Any]) -> str:
    """One line of ASCII, whatever the name of a file holds."""
    return json.dumps(made, allow_nan=False)


def _whole(number: float) -> float | int:
    return int(number) if float(number).is_integer() else number
