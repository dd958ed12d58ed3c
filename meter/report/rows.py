"""What a report says, as plain text: a page and a picture of it say the same."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Final

from meter.exposure.words import LAW_FIRST, STOP
from meter.report.material import Material
from meter.set_words import share_text
from meter.soundings import as_text_time
from meter.summary_keys import value_of
from meter.targets import MEASURES, Limit, Verdict, value_text
from meter.tunes.listed import ListedTune
from meter.tunes.words import clock

CAUTION: Final = (
    "Levels here are those of the signal, not at anybody's ears. " + LAW_FIRST + " " + STOP
)

TITLES: Final = {
    "integrated_lufs": "integrated, all of it",
    "loudest_30s_lufs": "loudest 30 s",
    "short_term_max_lufs": "highest short-term, 3 s",
    "momentary_max_lufs": "highest momentary, 400 ms",
    "loudness_range_lu": "loudness range",
    "true_peak_dbtp": "true peak",
    "sample_peak_dbfs": "sample peak",
    "peak_to_loudness_lu": "PLR, peak to loudness",
    "correlation": "correlation r",
    "low_correlation": "r below the crossover",
    "fold_loss_db.below_crossover": "lost in mono below the crossover",
    "fold_loss_db.full": "lost in mono, all of it",
}

PEAKS: Final = ("true_peak_dbtp", "sample_peak_dbfs")
"""Shown with a plus above 0, as elsewhere."""

TUNE_HEADINGS: Final = ("", "begins", "length", "LUFS", "step, dB", "trim, dB", "name")

_UNITS: Final = {"loudness_range_lu": "LU", "sample_peak_dbfs": "dBFS", "peak_to_loudness_lu": "LU"} | {
    "correlation": "",
    "low_correlation": "",
    "fold_loss_db": "dB",
}


_OF_SIDES: Final = ("correlation", "low_correlation", "fold_loss_db.below_crossover", "fold_loss_db.full")
"""What one channel alone cannot have."""


def title_of(key: str) -> str:
    """The name of a measure; a target may limit bands that a report does not tell otherwise."""
    return TITLES.get(key) or f"lost in mono, {key.partition('.')[2]} Hz"


def about(material: Material) -> str:
    """What it is: source, when, how long."""
    words = [material.source, f"{clock(material.summary.seconds)} long", f"{material.rate_hz / 1000:g} kHz"]
    if material.began_text is not None:
        words.insert(1, material.began_text)
    return " · ".join(words)


def to_know(material: Material) -> Iterator[str]:
    """Sentences without which the numbers would be misread."""
    if material.is_broken_off:
        yield "It was broken off, as by a crash: this is what was written until then."
    if material.is_still_heard:
        yield "It is still being heard: this is what was written so far."
    if material.withheld_s > 0.0:
        yield (
            f"The system volume was not 0 dB for {spoken(material.withheld_s)} of it: levels read otherwise "
            "than the music is, and no verdict is given."
        )
    for note in material.notes:
        yield f"Note: {note}."


def in_short(material: Material) -> Iterator[str]:
    """What it comes to, in a few sentences."""
    if material.target is not None and material.verdicts:
        missed = [
            f"{title_of(key)} {verdict.word}"
            for key, verdict in material.verdicts.items()
            if verdict is not Verdict.INSIDE
        ]
        told = ", ".join(missed) if missed else "every limit is kept"
        yield f"Held against {material.target.title}: {told}."
    yield _over(material)
    jumps = [tune for tune in material.tunes if tune.is_jump]
    if jumps:
        largest = max(jumps, key=lambda tune: abs(tune.size_db or 0.0))
        yield (
            f"{counted(len(jumps), 'jump')} between {len(material.tunes)} tunes, the largest "
            f"{largest.size_db:+.1f} dB at {clock(largest.start_s)}."
        )
    elif len(material.tunes) > 1:
        yield f"No jump between {len(material.tunes)} tunes."
    if material.summary.lost_frames:
        yield f"Lost: {_lost(material)}."


def _over(material: Material) -> str:
    summary, time_over = material.summary, material.time_over()
    over_s = time_over.over_s
    if summary.integrated_lufs == -math.inf:
        return "All of it is silent."
    if over_s == 0:
        return "Nothing was over, and nothing was clipped flat."
    share = f", {share_text(100.0 * over_s / time_over.heard_s)} %" if summary.seconds >= 60.0 else ""
    what = counted(summary.overs, "over") if summary.overs else "flat tops"
    both = " and flat tops" if summary.overs and summary.flat_top_runs else ""
    return f"{what}{both} in {spoken(over_s)} of it{share}.".capitalize()


def _lost(material: Material) -> str:
    summary = material.summary
    seconds = summary.lost_frames / material.rate_hz
    return f"{seconds:.1f} s in {counted(len(summary.gaps), 'gap')}" if summary.gaps else f"{seconds:.1f} s"


def counted(number: int, word: str) -> str:
    """1 gap, 2 gaps."""
    return f"{number} {word}" if number == 1 else f"{number} {word}s"


def spoken(seconds: float) -> str:
    """A duration in words: 5 s, 3 min 20 s, 1 h 2 min."""
    whole = round(seconds)
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min" + (f" {whole % 60} s" if whole % 60 else "")
    return f"{whole // 3600} h {whole // 60 % 60} min"


def number_rows(material: Material) -> Iterator[tuple[str, str]]:
    """Name and value of each number."""
    for key in [*TITLES, *(key for key in material.verdicts if key not in TITLES)]:
        if material.channels > 1 or key not in _OF_SIDES or key in material.verdicts:
            yield title_of(key), _value(material, key)
    summary, time_over = material.summary, material.time_over()
    over_s = time_over.over_s
    share = f" ({share_text(100.0 * over_s / time_over.heard_s)} %)" if over_s else ""
    yield "overs", f"{summary.overs}"
    yield "seconds with an over or a clipped wave", f"{over_s}{share}"
    yield "flat tops", f"{summary.flat_top_runs}"
    lost_s = summary.lost_frames / material.rate_hz
    yield "frames lost", f"{summary.lost_frames}" + (f" ({lost_s:.1f} s)" if lost_s else "")


def _value(material: Material, key: str) -> str:
    value, verdict = value_of(material.summary, key), material.verdicts.get(key)
    text = "--"
    if value is not None:
        measure = MEASURES.get(key)
        limit: Limit | None = None if material.target is None else material.target.limits.get(key)
        decimals = 2 if "correlation" in key else 1
        shown = value_text(value, decimals=decimals, limit=limit, plus=key in PEAKS)
        text = f"{shown} {_UNITS[key.partition('.')[0]] if measure is None else measure.unit}".strip()
    return text if verdict is None else f"{text} · {verdict.word}"


def tune_cells(tunes: Sequence[ListedTune]) -> Iterator[tuple[str, ...]]:
    """A row for each tune, under `TUNE_HEADINGS`."""
    for tune in tunes:
        level = "--" if tune.level_lufs is None else value_text(tune.level_lufs)
        step = "" if tune.size_db is None else f"{tune.size_db:+.1f}"
        trim = ""
        if tune.is_jump and tune.trim_db is not None:
            trim = f"{tune.trim_db:+.1f}"
        length = clock(tune.stop_s - tune.start_s)
        yield (str(tune.number), clock(tune.start_s), length, level, step, trim, tune.name)


def finding_rows(material: Material) -> Iterator[tuple[str, str]]:
    """Where, and what."""
    for at_s, text in material.findings:
        yield as_text_time(at_s) if math.isfinite(at_s) else "", text
