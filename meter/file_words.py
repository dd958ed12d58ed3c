"""What is said of files in the window: while they are measured, of each, and of those that failed."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Final

from meter.check import Checked
from meter.check_run import RunProgress
from meter.check_text import missed_text
from meter.shown import SIGNED
from meter.soundings import Summary
from meter.targets import Target, value_text

MOST_LINES: Final = 4
"""So many sentences are shown at once; the rest stands in the log."""


def progress_text(progress: RunProgress) -> str:
    """How far a run has come."""
    percent = int(100.0 * progress.share)
    name = Path(progress.name).name
    if progress.files == 1:
        return f"measuring {name}: {percent} %"
    at = min(progress.files_done + 1, progress.files)
    return f"measuring {at} of {progress.files}, {name}: {percent} %"


def problems_text(problems: Sequence[str]) -> str:
    """What could not be measured, a sentence a line; "" without any."""
    if len(problems) <= MOST_LINES:
        return "\n".join(problems)
    shown = problems[: MOST_LINES - 1]
    return "\n".join([*shown, f"and {len(problems) - len(shown)} more like these, each named in the log"])


def cancelled_text(done: int, files: int) -> str:
    """The run was cancelled."""
    if done == 0:
        return "cancelled; none was measured"
    stays = "was measured and stays" if done == 1 else "were measured and stay"
    return f"cancelled; {done} of {files} {stays}"


def too_many_text(files: int, most: int) -> str:
    """A folder holds more than the window keeps in memory."""
    return f"the first {most} of {files} files were taken; `leadline check` makes a table of all of them"


def numbers_text(summary: Summary, target: Target | None = None) -> str:
    """Length, I and true peak, for the list."""
    return levels_text(summary.seconds, summary.integrated_lufs, summary.true_peak_dbtp, target)


def levels_text(
    length_s: float,
    integrated_lufs: float | None,
    true_peak_dbtp: float | None,
    target: Target | None = None,
) -> str:
    """The same of numbers that are known, exact enough for the verdict of the target."""
    seconds = int(length_s)
    integrated, peak = (
        "--" if value is None else _value(key, value, target)
        for key, value in (("integrated_lufs", integrated_lufs), ("true_peak_dbtp", true_peak_dbtp))
    )
    length = f"{seconds // 60}:{seconds % 60:02d}"
    if seconds >= 3600:
        length = f"{seconds // 3600}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"
    return f"{length}  I {integrated}  TP {peak}"


def file_sentence(checked: Checked) -> str:
    """The most useful thing to know of a file: what misses the target, or that nothing does."""
    name, summary, target = Path(checked.name).name, checked.summary, checked.options.target
    known = [
        f"{word} {_value(key, value, target)} {unit}"
        for key, word, value, unit in (
            ("integrated_lufs", "I", summary.integrated_lufs, "LUFS"),
            ("loudest_30s_lufs", "loudest 30 s", summary.loudest_30s_lufs, "LUFS"),
            ("true_peak_dbtp", "true peak", summary.true_peak_dbtp, "dBTP"),
        )
        if value is not None
    ]
    numbers = ", ".join(known) or "too short to measure"
    if target is None or not checked.verdicts:
        return f"{name}: {numbers}"
    missed = missed_text(checked)
    if missed:
        return f"{name}, against {target.title}: {missed} ({numbers})"
    return f"{name}: inside {target.title}, in all it limits ({numbers})"


def _value(key: str, value: float, target: Target | None) -> str:
    limit = None if target is None else target.limits.get(key)
    return value_text(value, limit=limit, plus=key in SIGNED)
