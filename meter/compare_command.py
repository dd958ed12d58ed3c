"""`leadline compare BEFORE AFTER`: what a limiter or a clipper did, from the files before and after it."""

from __future__ import annotations

import json
import math
import sys
from contextlib import closing
from pathlib import Path
from typing import Any, Final

import numpy as np

from meter.console import say
from meter.errors import UsageError
from meter.files import open_audio
from meter.soundings import as_text_time
from meter.two_files import Compared, compare
from meter.units import Samples

LONGEST_S: Final = 20 * 60.0
"""Both files are held in memory."""
TOLD_DB: Final = (50.0, 95.0)
SHARE_DB: Final = 0.5
"""Gain changes under this are no limiting."""


def run(before: str, after: str, *, as_json: bool = False) -> int:
    """Compare two files and print what was found.

    Returns
    -------
    int
        0.

    Raises
    ------
    UsageError
        The files cannot be compared.
    AudioFileError
        One cannot be read.
    """
    first, rate_hz = _read(before)
    second, other_hz = _read(after)
    if rate_hz != other_hz:
        raise UsageError(
            f"{before} has {rate_hz} Hz and {after} {other_hz} Hz, but one rate was expected; "
            "render both at the same rate"
        )
    found = compare(first, second, rate_hz=rate_hz)
    say(json.dumps(as_object(before, after, found)) if as_json else block(before, after, found), sys.stdout)
    return 0


def _read(name: str) -> tuple[Samples, int]:
    with open_audio(Path(name)) as audio, closing(audio.blocks()) as blocks:
        parts, frames = [], 0
        for part in blocks:
            parts.append(part.copy())
            frames += len(part)
            if frames > LONGEST_S * audio.rate_hz:
                raise UsageError(
                    f"{name} is longer than {LONGEST_S / 60.0:.0f} minutes, but two files of a tune were "
                    "expected; cut the passage out of both"
                )
        return np.concatenate(parts), audio.rate_hz


def _percentiles(found: Compared) -> list[float]:
    known = found.gain_db[~np.isnan(found.gain_db)]
    return [max(-float(np.percentile(known, 100.0 - share)), 0.0) if len(known) else 0.0 for share in TOLD_DB]


def block(before: str, after: str, found: Compared) -> str:
    """What was found, for people."""
    half_db, most_db = _percentiles(found)
    worst = 0 if np.isnan(found.gain_db).all() else int(np.nanargmin(found.gain_db))
    share = float(np.mean(np.nan_to_num(found.gain_db) < -SHARE_DB)) if len(found.gain_db) else 0.0
    lines = [
        f"{before} against {after}",
        f"    the second is {found.lag_frames:+.2f} samples later and {found.static_gain_db:+.2f} dB louder",
        f"    most taken off  {found.most_db:.1f} dB at {as_text_time(float(found.at_s[worst]))}"
        if len(found.at_s)
        else "    too short to tell a gain",
        f"    half of the time at most {half_db:.1f} dB, 95 % of it at most {most_db:.1f} dB; "
        f"more than {SHARE_DB:.1f} dB in {100.0 * share:.0f} % of it",
        f"    the highest peak is {found.off_the_peaks_db:.1f} dB lower at the same level",
    ]
    lines += [f"    differs at {band} Hz by {level:.1f} dB" for band, level in found.residual_db.items()]
    return "\n".join(lines)


def as_object(before: str, after: str, found: Compared) -> dict[str, Any]:
    """What was found, for programs."""
    half_db, most_db = _percentiles(found)
    return {
        "type": "compare",
        "before": before,
        "after": after,
        "lag_frames": found.lag_frames,
        "static_gain_db": found.static_gain_db,
        "gain_change_db": {"p50": half_db, "p95": most_db, "most": found.most_db},
        "off_the_peaks_db": found.off_the_peaks_db if math.isfinite(found.off_the_peaks_db) else None,
        "residual_db": {
            band: level if math.isfinite(level) else None for band, level in found.residual_db.items()
        },
        "gain_db": [
            {"at_s": round(float(at_s), 3), "db": round(float(db), 3)}
            for at_s, db in zip(found.at_s, found.gain_db, strict=True)
            if not math.isnan(db)
        ],
    }
