"""Many checked files as a table: one line each, and what to trim to play them equally loud.

The trim is the gain that brings a file's loudest 30 s to the median of all files of the run: what a DJ
sets before a gig, so that no drop is louder than the one before. It is a gain of the signal, in dB;
where it is above 0, the peaks rise with it. A mono file counts as it is heard, on two speakers.
"""

from __future__ import annotations

import math
import os
import textwrap
from collections.abc import Sequence
from statistics import median
from typing import Final

from meter.check import Checked, Failed, Result
from meter.check_text import missed_text
from meter.soundings import as_text_time
from meter.summary_keys import value_of, why_null
from meter.targets import MEASURES, Verdict, value_text
from meter.units import TWO_SPEAKERS_LU

NAME_WIDTH: Final = 34
WIDTH: Final = 9
NARROW_WIDTH: Final = 8
LEAST_NAME_WIDTH: Final = 12
COLUMNS: Final = 8

_MEASURES: Final = (
    (("loudest", "30 s", "LUFS"), "loudest_30s_lufs"),
    (("all", "of it", "LUFS"), "integrated_lufs"),
    (("loudness", "range", "LU"), "loudness_range_lu"),
    (("true", "peak", "dBTP"), "true_peak_dbtp"),
    (("peak to", "loudness", "LU"), "peak_to_loudness_lu"),
    (("lost in", "mono", "dB"), "fold_loss_db.below_crossover"),
)

_FEW_WORDS: Final = {
    "loudness_range_lu": ("", "LRA", "LU"),
    "peak_to_loudness_lu": ("", "PLR", "LU"),
}

_WHY: Final = {"silence": "silence", "not yet": "short", "does not apply": "--"}


def median_loudest_lufs(results: Sequence[Result]) -> float | None:
    """Median loudest 30 s of the files that have one; None when no file has."""
    found = [value for result in results if (value := _loudest(result)) is not None]
    return median(found) if found else None


def trim_db(result: Result, median_lufs: float | None) -> float | None:
    """Gain in dB that brings a file's loudest 30 s to the median; None where it has none."""
    own_lufs = _loudest(result)
    return None if own_lufs is None or median_lufs is None else median_lufs - own_lufs


def _loudest(result: Result) -> float | None:
    if isinstance(result, Failed):
        return None
    value = result.summary.loudest_30s_lufs
    if value is None or not math.isfinite(value):
        return None
    return value + TWO_SPEAKERS_LU if result.summary.channels == 1 else value


def table(results: Sequence[Result], *, columns: int | None = None) -> str:
    """All that was measured, a line each, with heading and notes; no line break at the end.

    Parameters
    ----------
    columns : int, optional
        Of the terminal: 76 and more hold all numbers; a verdict that does not fit goes below.
    """
    checked = [result for result in results if isinstance(result, Checked)]
    median_lufs = median_loudest_lufs(results)
    folder = _common_folder([result.name for result in checked])
    names = [result.name[len(folder) :] for result in checked]
    width = min(max((len(name) for name in names), default=0), NAME_WIDTH)
    cell = WIDTH
    if columns is not None and width + COLUMNS * WIDTH > columns:
        cell = NARROW_WIDTH
        width = min(width, max(columns - COLUMNS * cell, LEAST_NAME_WIDTH))
    lines = [f"in {folder}"] if folder else []
    lines += _heading(width, checked, cell)
    for name, result in zip(names, checked):
        numbers, verdict = _line(name, width, cell, result, trim_db(result, median_lufs)), _verdict(result)
        fits = columns is None or len(numbers) + len(verdict) <= columns
        lines += [numbers + verdict] if fits else [numbers, f"  {verdict}"]
    crossover_hz = checked[0].options.crossover_hz if checked else 0.0
    lines.append("")
    if median_lufs is not None:
        lines.append(
            f"trim: the gain that brings the loudest 30 s to {value_text(median_lufs)} LUFS, the median of "
            "these files; peaks rise with it"
        )
    if median_lufs is not None and any(one.summary.channels == 1 for one in checked):
        louder = f"{TWO_SPEAKERS_LU:.2f} LU louder than shown"
        lines.append(f"mono files: trimmed as played on two speakers, {louder}")
    lines.append(f"lost in mono: below {crossover_hz:g} Hz")
    lines += [f"Note on {name}: {note}." for name, one in zip(names, checked) for note in one.notes]
    if columns is not None:
        first = lines.index("") + 1
        lines[first:] = [part for line in lines[first:] for part in textwrap.wrap(line, columns)]
    return "\n".join(lines)


def _heading(width: int, checked: Sequence[Checked], cell: int) -> list[str]:
    words = [_FEW_WORDS.get(key, words) if cell < WIDTH else words for words, key in _MEASURES]
    columns = [("", "", "length"), words[0], ("", "trim", "dB"), *words[1:]]
    target = next((one.options.target for one in checked), None)
    lines = []
    for row in range(3):
        text = " " * width + "".join(f"{column[row]:>{cell}}" for column in columns)
        has_title = target is not None and row == 2 and cell == WIDTH
        lines.append(text + (f"  {target.title}" if target is not None and has_title else ""))
    return lines


def _line(name: str, width: int, cell: int, result: Checked, trim: float | None) -> str:
    summary = result.summary
    cells = [as_text_time(summary.seconds)]
    for _, key in _MEASURES:
        value = value_of(summary, key)
        if value is None:
            cells.append(_WHY[why_null(summary, key)])
        else:
            target = result.options.target
            limit = None if target is None else target.limits.get(key)
            is_peak = key == "true_peak_dbtp"
            cells.append(value_text(value, decimals=MEASURES[key].decimals, limit=limit, plus=is_peak))
    cells.insert(2, "--" if trim is None else value_text(trim, plus=True))
    numbers = "".join(f"{text:>{cell}}" for text in cells)
    return f"{_shortened(name, width):<{width}}{numbers}"


def _verdict(result: Checked) -> str:
    if result.options.target is None:
        return ""
    missed = missed_text(result)
    if not result.verdicts:
        return "  nothing to hold against it"
    if not missed:
        return f"  {Verdict.INSIDE}"
    is_over = Verdict.OVER in result.verdicts.values()
    return f"  {(Verdict.OVER if is_over else Verdict.UNDER).glyph} not inside: {missed}"


def _shortened(name: str, width: int) -> str:
    """The end of a long name, which tells more than its beginning."""
    return name if len(name) <= width else "…" + name[len(name) - width + 1 :]


def _common_folder(names: Sequence[str]) -> str:
    """The folder that all lie in, with its separator; "" when there is none."""
    if len(names) < 2:
        return ""
    try:
        folder = os.path.commonpath([os.path.dirname(name) for name in names])
    except ValueError:  # some from the root, some not
        return ""
    start = os.path.join(folder, "") if folder else ""
    return start if all(name.startswith(start) for name in names) else ""
