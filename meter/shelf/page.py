"""A comparison with the shelf for a page of the window: its headline, the cells of its table, its legend."""

from __future__ import annotations

from meter.shelf.compare import Comparison
from meter.shelf.text import LABELS, among_text
from meter.shelf.words import against, band_sentences, hz_text, trim_sentence
from meter.targets import value_text

HEADINGS = ("", "this", "theirs", "difference", "")

NO_SPECTRUM = "no spectrum: of a pass that was heard live none is kept, as no audio is"


def title_text(comparison: Comparison) -> str:
    """What is held against what."""
    return f"{comparison.name} against {against(comparison.references)}, equally loud"


def headline(comparison: Comparison) -> str:
    """The trim that makes both equally loud."""
    return trim_sentence(comparison)


def cells(comparison: Comparison) -> list[tuple[str, str, str, str, str]]:
    """A row for each measure, under `HEADINGS`."""
    made = []
    for one in comparison.differences:
        label, unit, difference_unit = LABELS[one.key]
        made.append(
            (
                label,
                f"{value_text(one.value)} {unit}",
                f"{value_text(one.middle)} {unit}",
                f"{value_text(one.difference, plus=True)} {difference_unit}",
                among_text(one) if len(comparison.references) > 1 else "",
            )
        )
    return made


def sentences_below(comparison: Comparison) -> list[str]:
    """What stands out in the spectrum, or why there is none, or that nothing stands out."""
    if not comparison.bands:
        return [NO_SPECTRUM]
    said = list(band_sentences(comparison))
    return said or ["no band stands out: none lies 1.5 dB or more beyond what they span"]


def legend(comparison: Comparison) -> str:
    """How the plot is to be read."""
    if len(comparison.references) == 1:
        return "Dots: this, in dB above or under the reference, by third of an octave, equally loud."
    return (
        "Dots: this, in dB above or under the middle of the references, by third of an octave, equally "
        "loud. The band is what they span among themselves; a filled dot lies beyond it."
    )


def spoken_bands(comparison: Comparison) -> str:
    """The plot in words, for those who do not see it."""
    told = [
        f"{hz_text(band.nominal_hz)} {value_text(band.difference_db, plus=True)} dB"
        + (", beyond all" if band.is_outside and len(comparison.references) > 1 else "")
        for band in comparison.bands
    ]
    return "; ".join(told) or NO_SPECTRUM
