"""What is heard, as JSON objects: a sounding ten times a second, and the summary of a pass."""

from __future__ import annotations

import math
from typing import Any

from meter import check_json
from meter.check import Checked
from meter.low_end.json_keys import note_object
from meter.low_end.records import LowEnd
from meter.now import Now, is_withheld, overall
from meter.soundings import Reading

WITHHELD = "withheld"
"""Why there is no verdict although there is a target: the system volume was not 0 dB."""


def sounding_object(now: Now, low_end: LowEnd | None = None) -> dict[str, Any]:
    """The newest sounding; `now` must have a reading. With `low_end` also the sub note that is held."""
    reading = now.reading
    assert reading is not None, "a sounding has a reading"
    why: dict[str, str] = {}

    def plain(key: str, value: float | None) -> float | None:
        if value is None:
            why[key] = _why_none(reading, key)
        elif math.isinf(value):
            why[key] = "silence"
            return None
        return value

    made: dict[str, Any] = {"type": "sounding", "at_s": reading.at_s}
    for key in ("momentary_lufs", "short_term_lufs", "integrated_lufs"):
        made[key] = plain(key, getattr(reading, key))
    made["true_peak_dbtp"] = [plain("true_peak_dbtp", peak) for peak in reading.true_peak_dbtp]
    made["correlation"] = plain("correlation", reading.correlation)
    made["fold_loss_db"] = {
        band: plain(f"fold_loss_db.{band}", loss) for band, loss in reading.fold_loss_db.items()
    }
    verdict = overall(now.verdicts.values())
    if verdict is None:
        has_target = now.target is not None
        why["verdict"] = WITHHELD if has_target and is_withheld(now.state) else "does not apply"
    made["verdict"] = None if verdict is None else verdict.word
    if low_end is not None:
        note = low_end.note_now
        made["sub_note"] = None if note is None else note_object(note)
        if note is None:
            why["sub_note"] = "no single pitch"
    made["lost_frames"] = reading.lost_frames
    made["why_null"] = why
    return made


def _why_none(reading: Reading, key: str) -> str:
    if key.endswith("_lufs"):
        return "not yet"
    if len(reading.true_peak_dbtp) < 2:
        return "does not apply"
    # Correlation and loss in mono need the same 400 ms as momentary loudness.
    return "not yet" if reading.momentary_lufs is None else "silence"


def summary_object(checked: Checked, *, spec: str, is_judged: bool) -> dict[str, Any]:
    """The summary of a pass that was heard.

    Parameters
    ----------
    checked : Checked
        The pass.
    spec : str
        The source as it is written; a file's path stands under "path" too.
    is_judged : bool
        Whether it could be held against its target.
    """
    made = check_json.file_object(checked)
    made |= {"type": "summary", "source": spec, "path": None}
    if spec.startswith("file:"):
        made["path"] = spec.removeprefix("file:")
    else:
        made["why_null"]["path"] = "does not apply"
    if not is_judged:
        made["why_null"]["verdicts"] = WITHHELD
    return made
