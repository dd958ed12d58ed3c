"""The shelf and a comparison, as text for people and as objects for JSON; nothing is printed here."""

from __future__ import annotations

import math
import time
from collections.abc import Sequence
from textwrap import fill
from typing import Any, Final

from meter.shelf.compare import BandDifference, Comparison, Difference
from meter.shelf.reference import Reference
from meter.shelf.store import ShelfItem
from meter.shelf.words import against, band_sentences, hz_text, sentences, trim_sentence
from meter.soundings import as_text_time
from meter.targets import value_text

TEXT_WIDTH: Final = 100
COLUMNS_A_DB: Final = 2
FULL_DB: Final = 8.0
"""The plot shows so much on either side; more is cut off and marked."""

LABELS: Final = {
    "integrated_lufs": ("integrated, trimmed", "LUFS", "LU"),
    "peak_to_loudness_lu": ("PLR, peak to loudness", "LU", "LU"),
    "loudness_range_lu": ("loudness range", "LU", "LU"),
    "share_db.20-60": ("20 to 60 Hz against all", "dB", "dB"),
    "share_db.60-120": ("60 to 120 Hz against all", "dB", "dB"),
    "fold_loss_db.20-60": ("lost in mono, 20 to 60 Hz", "dB", "dB"),
    "fold_loss_db.60-120": ("lost in mono, 60 to 120 Hz", "dB", "dB"),
    "fold_loss_db.120-250": ("lost in mono, 120 to 250 Hz", "dB", "dB"),
    "fold_loss_db.below_crossover": ("lost in mono, below 120 Hz", "dB", "dB"),
    "fold_loss_db.full": ("lost in mono, all of it", "dB", "dB"),
}
"""Of each measure that is compared: its name, its unit, and the unit of a difference."""


def shelf_text(items: Sequence[ShelfItem]) -> str:
    """The list of what is on the shelf."""
    if not items:
        return "nothing is on the shelf yet; `leadline shelf add FILE` puts a record there"
    width = max(len("name"), *(len(item.reference.name) for item in items))
    names = f"{'loudest 30 s':>12} {'I':>7} {'PLR':>6} {'LRA':>6} {'TP':>7}  {'length':>7}  since"
    heading = f"{'name':<{width}}  {names}"
    units = f"{'':<{width}}  {'LUFS':>12} {'LUFS':>7} {'LU':>6} {'LU':>6} {'dBTP':>7}"
    return "\n".join([heading, units, *(item_text(item, width) for item in items)])


def item_text(item: ShelfItem, width: int = 0) -> str:
    """One line of that list."""
    one = item.reference
    numbers = (
        f"{_number(one.loudest_30s_lufs):>12} {_number(one.integrated_lufs):>7} "
        f"{_number(one.peak_to_loudness_lu):>6} {_number(one.loudness_range_lu):>6} "
        f"{_number(one.true_peak_dbtp, plus=True):>7}"
    )
    since = time.strftime("%Y-%m-%d", time.localtime(item.added_unix_s))
    live = "" if one.spectrum_db is not None else "  heard live, no spectrum"
    return f"{one.name:<{width}}  {numbers}  {as_text_time(one.seconds):>7}  {since}{live}"


def comparison_text(comparison: Comparison) -> str:
    """A comparison as a block of lines."""
    lines = [f"{comparison.name} against {against(comparison.references)}, equally loud"]
    lines.append(_wrapped("  ", trim_sentence(comparison)))
    lines += ["", f"    {'':<28}{'this':>8} {'theirs':>8} {'':<5}{'difference':>11}"]
    lines += [_difference_line(one) for one in comparison.differences]
    if comparison.bands:
        lines += ["", "  Spectrum of the loudest 30 s against the middle of theirs, dB"]
        lines += [
            f"  (# beyond all of them, = among them; a mark is {1 / COLUMNS_A_DB:g} dB)",
            *(_band_line(band) for band in comparison.bands),
        ]
    else:
        lines += ["", "  No spectrum: a pass that was heard live keeps none, as no audio is kept."]
    said = band_sentences(comparison)
    return "\n".join([*lines, *([""] if said else []), *(_wrapped("  * ", text) for text in said)])


def _wrapped(begin: str, text: str) -> str:
    return fill(
        text,
        width=TEXT_WIDTH,
        initial_indent=begin,
        subsequent_indent=" " * len(begin),
        break_long_words=False,
        break_on_hyphens=False,
    )


def _number(value: float | None, *, plus: bool = False) -> str:
    return "--" if value is None else value_text(value, plus=plus)


def _difference_line(one: Difference) -> str:
    label, unit, difference_unit = LABELS[one.key]
    off = f"{value_text(_shown_difference(one), plus=True)} {difference_unit}"
    text = f"    {label:<28}{value_text(one.value):>8} {value_text(one.middle):>8} {unit:<5}{off:>11}"
    return f"{text}  {among_text(one)}".rstrip()


def _shown_difference(one: Difference) -> float:
    """Of the numbers as they are shown, so that the line adds up."""
    if math.isinf(one.value) or math.isinf(one.middle):
        return one.difference
    return float(value_text(one.value)) - float(value_text(one.middle))


def among_text(one: Difference) -> str:
    """Where a value stands among the references: the nearest two, or its rank among ten and more."""
    if one.rank is not None:
        rank = one.rank
        share = f"{rank.low_pct:.0f} to {rank.high_pct:.0f} %"
        return f"above {rank.above:g} of {rank.of}; of such records {share}"
    if len(one.nearest) < 2:
        return ""
    return "nearest: " + ", ".join(f"{name} {value_text(value)}" for name, value in one.nearest)


def _band_line(band: BandDifference) -> str:
    half = round(FULL_DB * COLUMNS_A_DB)
    marks = round(abs(band.difference_db) * COLUMNS_A_DB)
    sign = "#" if band.is_outside else "="
    bar = sign * min(marks, half)
    if marks > half:
        bar = f"{bar[:-1]}>" if band.difference_db > 0 else f"<{bar[:-1]}"
    left, right = ("", bar) if band.difference_db > 0 else (bar, "")
    name = f"{hz_text(band.nominal_hz):>8}  {value_text(band.difference_db, plus=True):>6}"
    return f"  {name}  {left:>{half}}|{right}"


# --- objects


def reference_object(item: ShelfItem) -> dict[str, Any]:
    """One reference as an object."""
    one = item.reference
    return {"type": "reference", "added_unix_s": item.added_unix_s, **_fields(one)}


def _fields(one: Reference) -> dict[str, Any]:
    names = tuple(Reference.__dataclass_fields__)
    return {name: getattr(one, name) for name in names}


def comparison_object(comparison: Comparison) -> dict[str, Any]:
    """A comparison as an object."""
    return {
        "type": "comparison",
        "path": comparison.name,
        "references": list(comparison.references),
        "trim_db": comparison.trim_db,
        "true_peak_after_trim_dbtp": comparison.true_peak_after_dbtp,
        "loudest_30s_at_s": comparison.loudest_30s_at_s,
        "differences": {one.key: _difference_object(one) for one in comparison.differences},
        "bands": [
            {
                "nominal_hz": band.nominal_hz,
                "difference_db": band.difference_db,
                "lowest_db": band.lowest_db,
                "highest_db": band.highest_db,
            }
            for band in comparison.bands
        ],
        "sentences": list(sentences(comparison)),
    }


def _difference_object(one: Difference) -> dict[str, Any]:
    rank = one.rank
    return {
        "unit": LABELS[one.key][1],
        "value": one.value,
        "references_median": one.middle,
        "references_lowest": one.lowest,
        "references_highest": one.highest,
        "difference": one.difference,
        "nearest": [{"name": name, "value": value} for name, value in one.nearest],
        "rank": None
        if rank is None
        else {"above": rank.above, "of": rank.of, "low_pct": rank.low_pct, "high_pct": rank.high_pct},
    }
