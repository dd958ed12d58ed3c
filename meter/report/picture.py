"""A report as one picture: its texts and lanes, to be drawn by whoever has letters (`ui.report_picture`).

It is made for a phone and reads on a desk too: 1080 pixels wide, as many high as it needs.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from html import escape
from typing import Final

from meter.report.drawing import drawn_lanes
from meter.report.material import Material
from meter.report.rows import (
    CAUTION,
    TUNE_HEADINGS,
    about,
    counted,
    finding_rows,
    in_short,
    number_rows,
    to_know,
    tune_cells,
)
from meter.tunes.listed import ListedTune

WIDTH_PX: Final = 1080
MARGIN_PX: Final = 48
MOST_TUNES: Final = 30
MOST_FINDINGS: Final = 8
"""A picture is looked at in one go; the page has all of them."""

TUNE_COLUMNS_PX: Final = (66, 148, 128, 94, 130, 130)
"""All but the last one, which takes what is left: they hold 888, 88:88:88, 1:88:88, and the headings."""

PAPER, INK, FAINT, LINE = "#ffffff", "#1b1d20", "#5c6067", "#d9dce1"

LANE_STYLE: Final = f"""
text {{ fill: {INK}; font-family: B612; font-size: 11.5px; }} text.small {{ fill: {FAINT}; font-size: 10px; }}
text.ask {{ font-weight: bold; }} .lane {{ fill: #f4f5f7; }} .band {{ fill: #cfe5f3; }}
.grid {{ stroke: {LINE}; stroke-width: 0.6; }} .curve {{ fill: none; stroke-width: 0.7; }}
.range {{ fill-opacity: 0.35; }}
.ra {{ fill: #0072b2; }} .rb {{ fill: #a0488a; }} .rc {{ fill: #1b1d20; }} .rd {{ fill: #a34700; }}
.a {{ stroke: #0072b2; }} .b {{ stroke: #a0488a; }} .c {{ stroke: #1b1d20; }} .d {{ stroke: #a34700; }}
.over {{ fill: #b34700; }} .tune {{ stroke: {FAINT}; stroke-width: 0.4; stroke-opacity: 0.6; }}
"""
"""Selectors and properties that SVG Tiny knows: no variables, no shorthand."""

TEXT_STYLE: Final = f"""
body {{ font-size: 32px; color: {INK}; }} h1 {{ font-size: 50px; font-weight: bold; margin: 0; }}
h2 {{ font-size: 36px; font-weight: bold; margin-top: 0; margin-bottom: 8px; }}
p {{ margin-top: 8px; margin-bottom: 0; }} .faint {{ color: {FAINT}; }}
td, th {{ padding-top: 7px; padding-bottom: 7px; }} th {{ font-weight: normal; color: {FAINT}; }}
td.name, th.name {{ padding-left: 28px; }} td.value {{ padding-left: 20px; }}
"""

Draw = Callable[["Picture"], bytes]
"""Gives the picture as a PNG file. Raises `MeterError` where it cannot be drawn."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """What is on it, from the top.

    Attributes
    ----------
    head : str
        HTML, in the subset that rich text knows; styled by `TEXT_STYLE`.
    lanes : str
        SVG with a style of its own.
    body : tuple of str
        Sections below the lanes, as HTML; space between them.
    """

    head: str
    lanes: str
    body: tuple[str, ...]


def picture_of(material: Material) -> Picture:
    """What to draw of a pass."""
    first, _, rest = drawn_lanes(material).partition(">")
    return Picture(
        head="".join(_head(material)),
        lanes=f"{first}><style>{LANE_STYLE}</style>{rest}",
        body=tuple(text for part in _BODY if (text := "".join(part(material)))),
    )


def _head(material: Material) -> Iterator[str]:
    yield f"<h1>{escape(material.title)}</h1>"
    yield f'<p class="faint">{escape(about(material))}</p>'
    yield from (f"<p>{escape(text)}</p>" for text in to_know(material))
    yield from (f"<p><b>{escape(text)}</b></p>" for text in in_short(material))


def _numbers(material: Material) -> Iterator[str]:
    yield "<h2>Numbers</h2>"
    yield from _pairs(number_rows(material))


def _pairs(rows: Iterable[tuple[str, str]]) -> Iterator[str]:
    yield '<table width="100%" cellspacing="0">'
    for name, value in rows:
        yield f'<tr><td>{escape(name)}</td><td class="value" align="right">{_unbroken(value)}</td></tr>'
    yield "</table>"


def _encodes(material: Material) -> Iterator[str]:
    if material.encodes:
        from meter.delivery.tables import CLIPS, encode_cells

        yield f"<h2>{CLIPS}</h2>"
        cells = encode_cells(material.encodes)
        yield from _pairs((one[0], " · ".join(text for text in (one[1], one[-1]) if text)) for one in cells)


def _playback(material: Material) -> Iterator[str]:
    if material.playback:
        from meter.delivery.tables import PLAYS, playback_cells

        yield f"<h2>{PLAYS}</h2>"
        cells = playback_cells(material.summary, material.playback)
        yield from _pairs((one[0], " · ".join(text for text in one[1:3] if text)) for one in cells)


def _tunes(material: Material) -> Iterator[str]:
    tunes = material.tunes
    if not tunes:
        return
    shown = _largest(tunes)
    yield f"<h2>Tunes ({len(tunes)})</h2>"
    if len(shown) < len(tunes):
        yield f'<p class="faint">The {len(shown)} with the largest steps; the page has all of them.</p>'
    yield '<table width="100%" cellspacing="0"><tr>'
    for text, wide_px in zip(TUNE_HEADINGS, TUNE_COLUMNS_PX, strict=False):
        yield f'<th align="right" width="{wide_px}">{_unbroken(text)}</th>'
    yield f'<th class="name" align="left">{TUNE_HEADINGS[-1]}</th></tr>'
    for tune, (*cells, name) in zip(shown, tune_cells(shown), strict=True):
        texts = [_unbroken(cell) for cell in cells]
        if tune.is_jump:
            texts[-2:] = [f"<b>{text}</b>" for text in texts[-2:]]
        yield "<tr>" + "".join(f'<td align="right">{text}</td>' for text in texts)
        yield f'<td class="name">{escape(name)}</td></tr>'
    yield "</table>"


def _largest(tunes: tuple[ListedTune, ...]) -> list[ListedTune]:
    by_step = sorted(tunes, key=lambda tune: -abs(tune.size_db or 0.0))[:MOST_TUNES]
    return sorted(by_step, key=lambda tune: tune.number)


def _findings(material: Material) -> Iterator[str]:
    found = list(finding_rows(material))
    yield "<h2>What was found</h2>"
    if not found:
        yield "<p>Nothing.</p>"
    elif len(found) > MOST_FINDINGS:
        yield f"<p>{counted(len(found), 'finding')}: too many for a picture, the page has them.</p>"
    else:
        yield from (f'<p><span class="faint">{at}</span> {escape(text)}</p>' for at, text in found)


def _foot(material: Material) -> Iterator[str]:
    yield f'<p class="faint">{escape(CAUTION)}</p>'


def _unbroken(text: str) -> str:
    return escape(text).replace(" ", "&nbsp;")


_BODY: Final = (_numbers, _encodes, _playback, _tunes, _findings, _foot)
