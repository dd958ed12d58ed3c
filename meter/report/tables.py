"""A report for other programs: one JSON object, or a table with a line a second."""

from __future__ import annotations

import csv
import io
import json
import math
from typing import Any, Final

import numpy as np

from meter.delivery.playback import forecast_objects
from meter.delivery.words import encode_objects
from meter.report.material import Material, length_s
from meter.report.rows import TITLES
from meter.report.series import curves_of
from meter.summary_keys import value_of
from meter.tunes.words import tune_object

TYPE: Final = "report"
COLUMNS: Final = (
    "at_s",
    "short_term_lufs",
    "true_peak_dbtp",
    "correlation",
    "lost_below_crossover_db",
)


def as_json(material: Material) -> str:
    """Everything but the curves."""
    summary = material.summary
    made: dict[str, Any] = {
        "type": TYPE,
        "title": material.title,
        "source": material.source,
        "began_unix_s": material.began_unix_s,
        "seconds": summary.seconds,
        "sample_rate_hz": material.rate_hz,
        "channels": material.channels,
        "target": None if material.target is None else material.target.name,
        "verdicts": {key: verdict.word for key, verdict in material.verdicts.items()},
        "broken_off": material.is_broken_off,
        "still_heard": material.is_still_heard,
        "withheld_s": material.withheld_s,
        "overs": summary.overs,
        "seconds_over": material.time_over().over_s,
        "flat_top_runs": summary.flat_top_runs,
        "lost_frames": summary.lost_frames,
        "gaps": [{"at_s": gap.at_s, "frames": gap.frames} for gap in summary.gaps],
        "tunes": [tune_object(tune) for tune in material.tunes],
        "findings": [{"at_s": at_s, "text": text} for at_s, text in material.findings],
    }
    if material.notes:
        made["notes"] = list(material.notes)
    if material.encodes is not None:  # keys only where it was asked for
        made["encodes"] = encode_objects(material.encodes)
    if material.playback is not None:
        made["playback"] = forecast_objects(material.playback)
    made |= {key: _finite(value_of(summary, key)) for key in TITLES}
    return json.dumps(made, allow_nan=False, indent=1) + "\n"


def _finite(value: float | None) -> float | None:
    return value if value is not None and math.isfinite(value) else None


def as_csv(material: Material) -> str:
    """A line a second: highest S and true peak, lowest r, most lost in mono."""
    seconds = max(math.ceil(length_s(material.rows, material.rate_hz)), 1)
    curves = curves_of(material, columns=seconds)
    lowest = [None if curve is None else curve.low for curve in (curves.correlation, curves.lost_db)]
    columns = [curves.short_term_lufs.high, curves.true_peak_dbtp.high, *lowest]
    text = io.StringIO()
    table = csv.writer(text, lineterminator="\n")
    table.writerow(COLUMNS)
    for second in range(seconds):
        cells = ["" if one is None else _cell(float(one[second])) for one in columns]
        table.writerow([second, *cells])
    return text.getvalue()


def _cell(value: float) -> str:
    return "" if np.isnan(value) else f"{value:.2f}"


__all__ = ["COLUMNS", "TYPE", "as_csv", "as_json"]
