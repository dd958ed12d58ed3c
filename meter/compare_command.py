"""`leadline compare BEFORE AFTER`: what a limiter or a clipper did, from the files before and after it."""

from __future__ import annotations

import math
import sys
from contextlib import closing
from pathlib import Path
from typing import Any, Final

import numpy as np

from meter.check_json import as_line
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
LEAST_DB: Final = 0.05
"""What is less is shown as none."""


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
    if as_json:
        say(as_line(as_object(before, after, found)), sys.stdout)
    else:
        say(block(before, after, found, rate_hz=rate_hz), sys.stdout)
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


def block(before: str, after: str, found: Compared, *, rate_hz: int) -> str:
    """What was found, for people."""
    lines = [
        f"{before} against {after}",
        f"    {_later(found, rate_hz)}; {_louder(found.static_gain_db)}",
    ]
    if all(level == -math.inf for level in found.residual_db.values()):
        return "\n".join([*lines, "    apart from that the two are the same, sample by sample"])
    half_db, most_db = _percentiles(found)
    if found.most_db >= LEAST_DB:
        at_s = float(found.at_s[int(np.nanargmin(found.gain_db))])
        share = float(np.mean(np.nan_to_num(found.gain_db) < -SHARE_DB))
        lines += [
            f"    gain change: at most {found.most_db:.1f} dB down, at {as_text_time(at_s)}",
            f"    half of the time at most {half_db:.1f} dB, 95 % of it at most {most_db:.1f} dB; "
            f"more than {SHARE_DB:.1f} dB down in {100.0 * share:.0f} % of the time",
        ]
    else:
        lines.append(f"    gain change: nowhere more than {LEAST_DB:.2f} dB down")
    lines += [f"    {_peaks(found.off_the_peaks_db)}", "    what differs, against what was there before:"]
    lines += [f"      {band + ' Hz':<15}{_level(level)}" for band, level in found.residual_db.items()]
    return "\n".join(lines)


def _later(found: Compared, rate_hz: int) -> str:
    lag = found.lag_frames
    if lag == 0.0:
        return "both begin together"
    by = f"{1000.0 * abs(lag) / rate_hz:.2f} ms ({abs(lag):.2f} samples)"
    return f"the second is {by} {_side(lag, 'later', 'earlier')}"


def _louder(gain_db: float) -> str:
    if abs(gain_db) < LEAST_DB:
        return "as loud where nothing was taken off"
    return f"{abs(gain_db):.2f} dB {_side(gain_db, 'louder', 'quieter')} where nothing was taken off"


def _peaks(off_db: float) -> str:
    if not math.isfinite(off_db) or abs(off_db) < LEAST_DB:
        return "highest sample: as high, at the same level"
    return f"highest sample: {abs(off_db):.1f} dB {_side(off_db, 'lower', 'higher')}, at the same level"


def _side(value: float, above: str, below: str) -> str:
    return above if value > 0.0 else below


def _level(level_db: float) -> str:
    if level_db == -math.inf:
        return "nothing"
    return f"{abs(level_db):.1f} dB {_side(level_db, 'over', 'under')} it"


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
            {"at_s": round(float(at_s), 3), "db": round(float(db), 3) + 0.0}
            for at_s, db in zip(found.at_s, found.gain_db, strict=True)
            if not math.isnan(db)
        ],
    }
