"""A report as one page: everything in it, no script, nothing from elsewhere; for a phone and for paper."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from html import escape
from typing import Final

from meter.exposure.words import LAW_FIRST, STOP
from meter.report.drawing import lanes
from meter.report.material import Material
from meter.report.series import curves_of
from meter.soundings import as_text_time
from meter.summary_keys import value_of
from meter.targets import MEASURES, value_text
from meter.tunes.words import clock

MARK: Final = '<meta name="generator" content="Leadline report">'
"""By this a file is known that may be written over."""

CAUTION: Final = (
    "Levels here are those of the signal, not at anybody's ears. " + LAW_FIRST + " " + STOP
)

STYLE: Final = """
:root { color-scheme: light dark; --paper: #ffffff; --ink: #1b1d20; --faint: #6b6f76; --line: #d9dce1;
  --lane: #f4f5f7; --band: #cfe5f3; --a: #0072b2; --b: #a0488a; --c: #1b1d20; --d: #a34700; --bad: #b34700; }
@media (prefers-color-scheme: dark) { :root { --paper: #16181c; --ink: #eceef1; --faint: #9aa0a8;
  --line: #33373d; --lane: #1d2025; --band: #23394a; --a: #56b4e9; --b: #cc79a7; --c: #eceef1;
  --d: #e69f00; --bad: #e69f00; } }
* { box-sizing: border-box; }
body { margin: 0 auto; padding: 1rem; max-width: 60rem; background: var(--paper); color: var(--ink);
  font: 16px/1.45 "DejaVu Sans", system-ui, sans-serif; }
h1 { font-size: 1.4rem; margin: 0 0 .2rem; overflow-wrap: anywhere; }
h2 { font-size: 1.05rem; margin: 1.6rem 0 .4rem; }
p { margin: .3rem 0; } .faint { color: var(--faint); }
svg { width: 100%; height: auto; display: block; margin-top: 1rem; }
svg text { fill: var(--ink); font: 10px "DejaVu Sans", system-ui, sans-serif; }
svg text.small { fill: var(--faint); font-size: 9px; }
svg text.ask { font-weight: bold; } .lane { fill: var(--lane); }
.grid { stroke: var(--line); stroke-width: .6; } .band { fill: var(--band); }
.curve { fill: none; stroke-width: .7; } .a { stroke: var(--a); } .b { stroke: var(--b); }
.c { stroke: var(--c); } .d { stroke: var(--d); } .over { fill: var(--bad); }
.tune { stroke: var(--faint); stroke-width: .8; stroke-dasharray: 2 2; }
dl { display: grid; grid-template-columns: 1fr auto; gap: .15rem 1rem; margin: .4rem 0; max-width: 34rem; }
dd { margin: 0; text-align: right; font-variant-numeric: tabular-nums; }
.scroll { overflow-x: auto; } table { border-collapse: collapse; font-variant-numeric: tabular-nums; }
th, td { padding: .2rem .7rem .2rem 0; text-align: right; white-space: nowrap; }
th:last-child, td:last-child { text-align: left; }
.told td:first-child, .told th:first-child { text-align: left; }
.told td:last-child, .told th:last-child { text-align: right; }
th { font-weight: normal; color: var(--faint); } tr.jump td { font-weight: bold; }
ul { padding-left: 1.2rem; } li { margin: .35rem 0; }
footer { margin-top: 2rem; border-top: 1px solid var(--line); padding-top: .6rem; }
@media (min-width: 44rem) { svg text { font-size: 5.4px; } svg text.small { font-size: 4.8px; } }
@media print, (max-width: 44rem) { .told { font-size: .85em; }
  .told td, .told th { white-space: normal; vertical-align: top; padding-right: .5rem; } }
@media print { body { max-width: none; padding: 0; font-size: 11pt; }
  h2 { break-after: avoid; } li, tr { break-inside: avoid; } }
"""

_UNITS: dict[str, str] = {"loudness_range_lu": "LU", "sample_peak_dbfs": "dBFS", "peak_to_loudness_lu": "LU"}
_UNITS |= {"correlation": "", "low_correlation": "", "fold_loss_db": "dB"}

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


def page(material: Material) -> str:
    """The whole page."""
    return "".join(
        [
            '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            MARK,
            f"<title>{escape(material.title)}</title><style>{STYLE}</style></head><body>",
            *_head(material),
            lanes(curves_of(material), material.target, material.tunes),
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
    words = [material.source, f"{clock(material.summary.seconds)} long", f"{material.rate_hz / 1000:g} kHz"]
    if material.began_text is not None:
        words.insert(1, material.began_text)
    yield f'<p class="faint">{escape(" · ".join(words))}</p>'
    if material.is_broken_off:
        yield "<p>It was broken off, as by a crash: this is what was written until then.</p>"
    if material.target is not None:
        yield f"<p>Held against {escape(material.target.title)}.</p>"
    for note in material.notes:
        yield f"<p>Note: {escape(note)}.</p>"


def _numbers(material: Material) -> Iterator[str]:
    yield "<h2>Numbers</h2><dl>"
    for key, title in TITLES.items():
        value, verdict = value_of(material.summary, key), material.verdicts.get(key)
        text = "--"
        if value is not None:
            measure = MEASURES.get(key)
            shown = f"{value:.2f}" if "correlation" in key else value_text(value)
            text = f"{shown} {_UNITS[key.partition('.')[0]] if measure is None else measure.unit}"
        if verdict is not None:
            text = f"{text.strip()} · {verdict.word}"
        yield f"<dt>{escape(title)}</dt><dd>{escape(text.strip())}</dd>"
    summary = material.summary
    over_s, seconds = material.seconds_over(), summary.seconds
    share = f" ({100.0 * over_s / seconds:.1f} %)" if seconds > 0.0 and over_s else ""
    rows = [
        ("overs", f"{summary.overs}"),
        ("seconds with an over or a flat top", f"{over_s}{share}"),
        ("flat tops", f"{summary.flat_top_runs}"),
        ("frames lost", f"{summary.lost_frames}" + (f" in {len(summary.gaps)} gaps" if summary.gaps else "")),
    ]
    yield from (f"<dt>{escape(name)}</dt><dd>{escape(text)}</dd>" for name, text in rows)
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
    yield '<h2>Tunes</h2><div class="scroll"><table><tr><th>begins</th><th>length</th><th>LUFS</th>'
    yield "<th>step, dB</th><th>trim, dB</th><th>name</th></tr>"
    for tune in material.tunes:
        level = "--" if tune.level_lufs is None else value_text(tune.level_lufs)
        step = "" if tune.size_db is None else f"{tune.size_db:+.1f}"
        trim = "" if tune.trim_db is None or not tune.is_jump else f"{tune.trim_db:+.1f}"
        kind = ' class="jump"' if tune.is_jump else ""
        name = tune.name or f"tune {tune.number}"
        cells = (clock(tune.start_s), clock(tune.stop_s - tune.start_s), level, step, trim, name)
        yield f"<tr{kind}>" + "".join(f"<td>{escape(cell)}</td>" for cell in cells) + "</tr>"
    yield "</table></div>"


def _findings(material: Material) -> Iterator[str]:
    yield "<h2>What was found</h2>"
    if not material.findings:
        yield "<p>Nothing.</p>"
        return
    yield "<ul>"
    for at_s, text in material.findings:
        where = as_text_time(at_s) if math.isfinite(at_s) else ""
        yield f'<li><span class="faint">{where}</span> {escape(text)}</li>'
    yield "</ul>"
