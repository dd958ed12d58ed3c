"""Delivery of a checked pass, in the words of a page: its tables, and what stands beside them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from meter.delivery.playback import forecasts_of, own_level
from meter.delivery.tables import ceiling_text, encode_cells, playback_cells
from meter.delivery.words import encode_findings
from meter.soundings import Summary
from meter.standards.playback_levels import LEVELS

if TYPE_CHECKING:
    from meter.check import Checked

NOT_TRIED: Final = (
    "Not tried yet. In the background, three encoders take about a third of the time that the tune plays."
)
NO_LOUDNESS: Final = "It is silent, or too short to have a loudness: there is nothing to level."
LEVELS_SEEN: Final = (
    "Published recommendations, known from secondary sources: AES TD1008 (2021), EBU R 128 s2 (2023), "
    "ReplayGain 2.0 (proposal). What a player does with them is its own."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class PageText:
    """What stands on the page.

    Attributes
    ----------
    title : str
    encodes, playback : list of tuple of str
        Rows of the two tables; empty for none.
    encodes_note, playback_note : str
        Below them, or in their place.
    finding : str
        The most that is to be said of the encoders; empty for nothing.
    """

    title: str
    encodes: list[tuple[str, ...]]
    encodes_note: str
    finding: str
    playback: list[tuple[str, ...]]
    playback_note: str


def page_text_of(
    checked: Checked, *, own_lufs: float, turns_up: bool, album: Sequence[Summary] = ()
) -> PageText:
    """Of one pass.

    Parameters
    ----------
    own_lufs : float
        A level of the user's own.
    turns_up : bool
        Players turn up what is quieter.
    album : sequence of Summary
        Of all tunes of an album that this one belongs to; empty for none.
    """
    summary, encodes = checked.summary, checked.encodes
    levels = (*LEVELS.values(), own_level(own_lufs))
    found = forecasts_of(summary, levels, turns_up=turns_up)
    loud = [one for one in (each.integrated_lufs for each in album) if one is not None and math.isfinite(one)]
    of_album = []
    if len(loud) > 1:
        of_album = forecasts_of(summary, levels, turns_up=turns_up, loudest_lufs=max(loud))
    return PageText(
        title=Path(checked.name).name,
        encodes=encode_cells(encodes),
        encodes_note=ceiling_text(encodes[0].ceiling_dbtp) if encodes else NOT_TRIED,
        finding=next((one.text for one in encode_findings(encodes)), ""),
        playback=playback_cells(summary, found, of_album, of_album=len(loud)),
        playback_note=LEVELS_SEEN if found else NO_LOUDNESS,
    )
