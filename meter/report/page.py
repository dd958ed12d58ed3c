"""A report as one page: everything in it, no script, nothing from elsewhere; for a phone and for paper."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from html import escape
from typing import Final

from meter.report.drawing import drawn_lanes
from meter.report.material import Material
from meter.report.rows import (
    CAUTION,
    TUNE_HEADINGS,
    about,
    finding_rows,
    in_short,
    number_rows,
    to_know,
    tune_cells,
)

MARK: Final = '<meta name="generator" content="Leadline report">'
"""By this a file is known that may be written over."""

STYLE: Final = """
:root { color-scheme: light dark; --paper: #ffffff; --ink: #1b1d20; --faint: #5c6067; --line: #d9dce1;
  --lane: #f4f5f7; --band: #cfe5f3; --a: #0072b2; --b: #a0488a; --c: #1b1d20; --d: #a34700; --bad: #b34700; }
@media (prefers-color-scheme: dark) { :root { --paper: #16181c; --ink: #eceef1; --faint: #9aa0a8;
  --line: #33373d; --lane: #1d2025; --band: #23394a; --a: #56b4e9; --b: #cc79a7; --c: #eceef1;
  --d: #e69f00; --bad: #e69f00; } }
* { box-sizing: border-box; }
body { margin: 0 auto; padding: 1rem; max-width: 60rem; background: var(--paper); color: var(--ink);
  font: 16px/1.45 "DejaVu Sans", system-ui, sans-serif; overflow-wrap: break-word; }
h1 { font-size: 1.4rem; margin: 0 0 .2rem; line-height: 1.2; overflow-wrap: anywhere; }
h2 { font-size: 1.05rem; margin: 1.6rem 0 .4rem; }
p { margin: .3rem 0; } .faint { color: var(--faint); } .short { font-weight: bold; }
svg { width: 100%; height: auto; display: block; margin-top: 1rem; }
svg text { fill: var(--ink); font: 11.5px "DejaVu Sans", system-ui, sans-serif; }
svg text.small { fill: var(--faint); font-size: 10px; }
svg text.ask { font-weight: bold; } .lane { fill: var(--lane); }
.grid { stroke: var(--line); stroke-width: .6; } .band { fill: var(--band); }
.curve { fill: none; stroke-width: .7; stroke-linejoin: round; } .range { opacity: .35; }
.ra { fill: var(--a); } .rb { fill: var(--b); } .rc { fill: var(--c); } .rd { fill: var(--d); }
.a { stroke: var(--a); } .b { stroke: var(--b); } .c { stroke: var(--c); } .d { stroke: var(--d); }
.over { fill: var(--bad); } .tune { stroke: var(--faint); stroke-width: .4; opacity: .6; }
dl { display: grid; grid-template-columns: 1fr auto; margin: .4rem 0; max-width: 34rem; }
dt, dd { margin: 0; padding: .15rem 0; border-bottom: 1px solid var(--line); }
dd { padding-left: 1rem; text-align: right; font-variant-numeric: tabular-nums; }
table { border-collapse: collapse; font-variant-numeric: tabular-nums; }
th, td { padding: .2rem .7rem .2rem 0; text-align: right; vertical-align: top; }
th { font-weight: normal; color: var(--faint); } tr { border-bottom: 1px solid var(--line); }
th, td { white-space: nowrap; }
.told td, .told th, .tunes td:last-child { white-space: normal; overflow-wrap: anywhere; }
.told th { overflow-wrap: break-word; }
.told td:first-child, .told th:first-child, .tunes td:last-child, .tunes th:last-child { text-align: left; }
.told td:last-child, .told th:last-child, .tunes td:last-child { padding-right: 0; }
.tunes td:first-child { color: var(--faint); }
.jump td:nth-child(5), .jump td:nth-child(6) { font-weight: bold; }
ul { padding-left: 1.2rem; } li { margin: .35rem 0; }
footer { margin-top: 2rem; border-top: 1px solid var(--line); padding-top: .6rem; }
@media (min-width: 44rem) { svg text { font-size: 5.6px; } svg text.small { font-size: 5px; } }
@media print, (min-width: 44rem) { dl { grid-template-columns: 1fr auto 1fr auto; max-width: none; }
  dd:nth-of-type(odd) { margin-right: 2rem; } }
@media print, (max-width: 44rem) { .told { font-size: .85em; } .told td, .told th { padding-right: .5rem; } }
@media screen and (max-width: 44rem) { dl { font-size: .92em; } .tunes th { font-size: .85em; }
  .tunes { width: 100%; } .tunes tr { display: grid; padding: .15rem 0;
    grid-template-columns: 1.6em 4.2em 3.4em 3em 1fr 1fr; column-gap: .4em; }
  .tunes td, .tunes th { padding: 0; } .tunes td:last-child { grid-column: 2 / -1; }
  .tunes th:last-child, .tunes td:last-child:empty { display: none; } }
@media screen and (max-width: 23rem) { .tunes { font-size: .8em; } }
@media print { :root { --paper: #ffffff; --ink: #000000; --faint: #4a4e54; --line: #c8ccd2; --lane: #f4f5f7;
    --band: #cfe5f3; --a: #0072b2; --b: #a0488a; --c: #1b1d20; --d: #a34700; --bad: #b34700; }
  body { max-width: none; padding: 0; font-size: 10pt; } svg { max-height: 14cm; print-color-adjust: exact; }
  h2 { break-after: avoid; } svg, li, tr, dt, dd { break-inside: avoid; } }
"""


def page(material: Material) -> str:
    """The whole page."""
    return "".join(
        [
            '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            MARK,
            f"<title>{escape(material.title)}</title><style>{STYLE}</style></head><body>",
            *_head(material),
            drawn_lanes(material),
            *_numbers(material),
            *_encodes(material),
            *_playback(material),
            *_tunes(material),
            *_findings(material),
            f'<footer class="faint"><p>{escape(CAUTION)}</p></footer>',
            "</body></html>\n",
        ]
    )


def _head(material: Material) -> Iterator[str]:
    yield f"<h1>{escape(material.title)}</h1>"
    yield f'<p class="faint">{escape(about(material))}</p>'
    yield from (f"<p>{escape(text)}</p>" for text in to_know(material))
    yield from (f'<p class="short">{escape(text)}</p>' for text in in_short(material))


def _numbers(material: Material) -> Iterator[str]:
    yield "<h2>Numbers</h2><dl>"
    for name, value in number_rows(material):
        yield f"<dt>{escape(name)}</dt><dd>{escape(value)}</dd>"
    yield "</dl>"


def _encodes(material: Material) -> Iterator[str]:
    if material.encodes is None:
        return
    from meter.delivery.tables import CLIPS, ENCODE_HEADINGS, ceiling_text, encode_cells

    yield f"<h2>{CLIPS}</h2>"
    if not material.encodes:
        yield "<p>It could not be tried with any of the encoders that were asked for.</p>"
        return
    yield from _table(ENCODE_HEADINGS, encode_cells(material.encodes))
    yield f'<p class="faint">{escape(ceiling_text(material.encodes[0].ceiling_dbtp))}</p>'


def _playback(material: Material) -> Iterator[str]:
    if material.playback is None:
        return
    from meter.delivery.of_pass import LEVELS_SEEN, NO_LOUDNESS
    from meter.delivery.tables import PLAYBACK_HEADINGS, PLAYS, playback_cells

    yield f"<h2>{PLAYS}</h2>"
    if not material.playback:
        yield f"<p>{escape(NO_LOUDNESS)}</p>"
        return
    yield from _table(PLAYBACK_HEADINGS, playback_cells(material.summary, material.playback))
    yield f'<p class="faint">{escape(LEVELS_SEEN)}</p>'


def _table(headings: Sequence[str], rows: Sequence[Sequence[str]]) -> Iterator[str]:
    yield '<div class="scroll"><table class="told"><tr>'
    yield "".join(f"<th>{escape(text)}</th>" for text in headings) + "</tr>"
    for cells in rows:
        yield "<tr>" + "".join(f"<td>{escape(text)}</td>" for text in cells) + "</tr>"
    yield "</table></div>"


def _tunes(material: Material) -> Iterator[str]:
    if not material.tunes:
        return
    yield f'<h2>Tunes ({len(material.tunes)})</h2><table class="tunes"><thead><tr>'
    yield "".join(f"<th>{escape(text)}</th>" for text in TUNE_HEADINGS) + "</tr></thead><tbody>"
    for tune, cells in zip(material.tunes, tune_cells(material.tunes), strict=True):
        kind = ' class="jump"' if tune.is_jump else ""
        yield f"<tr{kind}>" + "".join(f"<td>{escape(cell)}</td>" for cell in cells) + "</tr>"
    yield "</tbody></table>"


def _findings(material: Material) -> Iterator[str]:
    found = list(finding_rows(material))
    if not found:
        yield "<h2>What was found</h2><p>Nothing.</p>"
        return
    yield f"<h2>What was found ({len(found)})</h2><ul>"
    for where, text in found:
        yield f'<li><span class="faint">{where}</span> {escape(text)}</li>'
    yield "</ul>"
