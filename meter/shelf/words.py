"""What a comparison with the shelf says: where, how much, why perhaps, what to try, why it may be fine."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from meter.shelf.compare import BandDifference, Comparison
from meter.soundings import as_text_time
from meter.targets import value_text

TOLD_DB: Final = 1.5
"""Smaller differences of a band are not worth a sentence. Common practice, no source."""

MOST: Final = 3

LARGEST_STEP_DB: Final = 3.0
"""More is not advised at once, however large the difference. Common practice, no source."""

_REGIONS: Final = (
    (60.0, "the sub", "a louder sub, or a note that lies there", "a quieter sub, or other notes"),
    (125.0, "the body of kick and bass", "a long or loud kick", "a short kick, or a high-pass set too high"),
    (250.0, "the upper bass", "kick and bass that add up there", "a cut that was made too deep"),
    (800.0, "the low mids", "layers that pile up, or a room", "a wide cut, or few layers"),
    (3150.0, "the mids", "a lead or a break in front", "a lead or a break that stands back"),
    (8000.0, "the upper mids and snares", "sharp snares, or a clipper", "soft snares, or a dark sample"),
    (30_000.0, "the top", "hats and noise in front", "few hats, or a source that was encoded lossily"),
)
"""Up to where, in Hz, its name, and what more and less of it may come from. Common practice, no source."""


def sentences(comparison: Comparison) -> tuple[str, ...]:
    """The trim, and the largest differences of the spectrum. No capital and no full stop."""
    return trim_sentence(comparison), *band_sentences(comparison)


def trim_sentence(comparison: Comparison) -> str:
    """How much to turn it up or down, and what its peaks come to then."""
    trim_db = comparison.trim_db
    whose = against(comparison.references)
    if comparison.is_mono:
        whose += " (it has one channel, and is taken as played on two speakers)"
    if abs(trim_db) < 0.05:
        return f"its loudest 30 s are as loud as those of {whose}: no trim needed"
    way = "up" if trim_db > 0 else "down"
    text = f"turn it {way} by {abs(trim_db):.1f} dB to make its loudest 30 s as loud as those of {whose}"
    peak = comparison.true_peak_after_dbtp
    if peak is None:
        return text
    over = ", over full scale: as a gain on the way to the ears only" if peak > 0.0 else ""
    return f"{text}; its true peak is {value_text(peak, plus=True)} dBTP then{over}"


def band_sentences(comparison: Comparison) -> tuple[str, ...]:
    """The largest differences, neighbours of one direction taken together, the largest first."""
    groups = sorted(_groups(comparison.bands), key=lambda group: -_size(group))
    return tuple(_sentence(group, comparison) for group in groups[:MOST])


def against(references: Sequence[str]) -> str:
    """Whom it is held against, in a few words."""
    return f'"{references[0]}"' if len(references) == 1 else f"your {len(references)} references"


def hz_text(nominal_hz: float) -> str:
    """A band by its name: "31.5 Hz", "1.25 kHz"."""
    return f"{nominal_hz:g} Hz" if nominal_hz < 1000.0 else f"{nominal_hz / 1000.0:g} kHz"


def _place(comparison: Comparison) -> str:
    at_s = comparison.loudest_30s_at_s
    return "in all of it" if at_s is None else f"in the loudest 30 s (from {as_text_time(at_s)})"


def _size(group: Sequence[BandDifference]) -> float:
    return max(abs(band.difference_db) for band in group)


def _groups(bands: Sequence[BandDifference]) -> list[list[BandDifference]]:
    """Runs of neighbours that lie on one side, far enough and outside of what the references span."""
    groups: list[list[BandDifference]] = []
    side_before = 0
    for band in bands:
        is_told = abs(band.difference_db) >= TOLD_DB and band.is_outside
        side = 0 if not is_told else (1 if band.difference_db > 0 else -1)
        if side and side == side_before:
            groups[-1].append(band)
        elif side:
            groups.append([band])
        side_before = side
    return groups


def _sentence(group: Sequence[BandDifference], comparison: Comparison) -> str:
    worst = max(group, key=lambda band: abs(band.difference_db))
    where = hz_text(worst.nominal_hz)
    if len(group) > 1:
        where += f" ({hz_text(group[0].nominal_hz)} to {hz_text(group[-1].nominal_hz)})"
    _, name, more, less = next(region for region in _REGIONS if worst.nominal_hz < region[0])
    whose = against(comparison.references)
    is_more = worst.difference_db > 0
    spread = ""
    if len(comparison.references) > 1:
        spread = (
            f" (they lie from {value_text(worst.lowest_db, plus=True)} to "
            f"{value_text(worst.highest_db, plus=True)} dB of their middle there)"
        )
    what = f"more of {name}, perhaps {more}" if is_more else f"less of {name}, perhaps {less}"
    step = value_text(min(abs(worst.difference_db) / 2.0, LARGEST_STEP_DB))
    return (
        f"{value_text(worst.difference_db, plus=True)} dB at {where} {_place(comparison)} against {whose}, "
        f"level-matched{spread}: {what}; try {step} dB {'less' if is_more else 'more'} there and listen "
        "equally loud, or leave it if the tune is meant so"
    )
