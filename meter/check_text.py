"""A checked file as a block of text for people.

The block asks the same four questions as the lanes of the window. A line is: what, how much,
verdict, and what it is held against or where it is. Plain functions; nothing is printed here.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from textwrap import fill
from typing import Final

from meter.check import Checked, Failed
from meter.findings.listed import listed
from meter.low_end.text import low_end_lines
from meter.soundings import LOW_BANDS, Summary, as_text_time
from meter.summary_keys import value_of, why_null
from meter.targets import MEASURES, Limit, Target, Verdict, limit_text, value_text, verdict_on
from meter.units import TWO_SPEAKERS_LU

LABEL_WIDTH: Final = 27
NUMBER_WIDTH: Final = 7
UNIT_WIDTH: Final = 5
VERDICT_WIDTH: Final = 10
TEXT_WIDTH: Final = 100

WORDS_FOR_NULL: Final = {
    "silence": "silence",
    "not yet": "too short to tell",
    "does not apply": "does not apply",
}


def block(checked: Checked, *, width: int = TEXT_WIDTH) -> str:
    """Everything about one file, several lines, no line break at the end; sentences wrapped to a width."""
    summary = checked.summary
    lines = [checked.name, _heading(checked), ""]
    lines += ["  How loud?", *_loudness(checked)]
    lines += ["  Any overs?", *_peaks(checked)]
    if summary.channels == 1:
        lines += ["  Left and right?", "    one channel: nothing to compare, and nothing is lost in mono"]
    else:
        lines += ["  Left and right?", *_correlation(checked), "  Lost in mono?", *_lost_in_mono(checked)]
    if checked.low_end is not None and checked.options.low_end is not None:
        lines += low_end_lines(checked.low_end, checked.options.low_end)
    if checked.encodes:
        from meter.delivery.words import encode_lines

        lines += encode_lines(checked.encodes, from_s=checked.options.part.from_s)
    if checked.options.playback:
        from meter.delivery.playback import forecast_lines, forecasts_for

        lines += forecast_lines(forecasts_for(checked))
    lines += sentences("What was found?", listed(checked.findings), width)
    lines += sentences("What may not belong to it?", [one.text for one in checked.suggestions], width)
    ends = [*(f"  Note: {note}." for note in checked.notes), *_conclusion(checked)]
    ends = [fill(end, width=width, subsequent_indent="  ", break_long_words=False) for end in ends]
    return "\n".join([*lines, *([""] if ends else []), *ends])


def sentences(heading: str, texts: Sequence[str], width: int = TEXT_WIDTH) -> Iterator[str]:
    """A heading, and sentences below it, wrapped."""
    if texts:
        yield f"  {heading}"
    for text in texts:
        yield fill(
            text,
            width=width,
            initial_indent="    - ",
            subsequent_indent="      ",
            break_long_words=False,
        )


def problem(failed: Failed) -> str:
    """A file that could not be read, as one line."""
    return f"error: {failed.message}"


def closing(results: Sequence[Checked | Failed], target: Target | None) -> str:
    """What a run over several files comes to, one or two lines."""
    checked = [result for result in results if isinstance(result, Checked)]
    failed = len(results) - len(checked)
    parts = [f"{len(results)} files"]
    missed = [result.name for result in checked if not result.is_inside]
    if target is not None:
        parts.append(f"{len(checked) - len(missed)} inside {target.title}, {len(missed)} not")
    if failed:
        parts.append(f"{failed} could not be read")
    text = "; ".join(parts) + "."
    return f"{text}\nNot inside: {', '.join(missed)}" if target is not None and missed else text


def _heading(checked: Checked) -> str:
    summary = checked.summary
    part = checked.options.part
    length = as_text_time(summary.seconds)
    if not part.is_whole:
        length = f"{length} from {as_text_time(part.from_s)}"
    words = [
        length,
        checked.channels_text,
        f"{summary.sample_rate_hz / 1000.0:g} kHz",
        checked.kind,
    ]
    text = " · ".join(words)
    target = checked.options.target
    return text if target is None else f"{text}\nheld against {target.title} ({target.source})"


def _loudness(checked: Checked) -> Iterator[str]:
    summary = checked.summary
    yield _line(checked, "loudest_30s_lufs", "loudest 30 s", _where_loudest(summary))
    yield _line(checked, "integrated_lufs", "integrated, all of it")
    integrated_lufs = summary.integrated_lufs
    if summary.channels == 1 and integrated_lufs is not None and math.isfinite(integrated_lufs):
        both = value_text(integrated_lufs + TWO_SPEAKERS_LU)
        yield _cells("  played on two speakers", both, "LUFS", "", f"+{TWO_SPEAKERS_LU:.2f} LU")
    yield _line(checked, "short_term_max_lufs", "highest short-term, 3 s")
    yield _line(checked, "momentary_max_lufs", "highest momentary, 400 ms")
    has_range = summary.loudness_range_lu is not None
    steady = "" if summary.loudness_range_stable or not has_range else "not steady in less than a minute"
    yield _line(checked, "loudness_range_lu", "loudness range", steady)


def _where_loudest(summary: Summary) -> str:
    start_s, loudest_lufs = summary.loudest_30s_at_s, summary.loudest_30s_lufs
    if start_s is None or loudest_lufs is None or math.isinf(loudest_lufs):
        return ""
    if summary.loudest_30s_is_whole:
        return "all of it: shorter than 30 s"
    return f"{as_text_time(start_s)} to {as_text_time(start_s + 30.0)}"


def _peaks(checked: Checked) -> Iterator[str]:
    summary = checked.summary
    over_text = ""
    if summary.overs:
        above = f"above {limit_text(checked.options.over_limit_dbtp)} dBTP"
        over_text = f"{summary.overs} peak{'s' * (summary.overs > 1)} {above}"
    yield _line(checked, "true_peak_dbtp", "true peak", over_text)
    yield _line(checked, "sample_peak_dbfs", "sample peak")
    yield _line(checked, "peak_to_loudness_lu", "PLR, peak to loudness")


def _correlation(checked: Checked) -> Iterator[str]:
    pair_only = "left and right only" if checked.summary.channels > 2 else ""
    yield _line(checked, "correlation", "correlation r", pair_only)
    yield _line(checked, "low_correlation", f"r below {checked.options.crossover_hz:g} Hz")


def _lost_in_mono(checked: Checked) -> Iterator[str]:
    for band in LOW_BANDS:
        yield _line(checked, f"fold_loss_db.{band}", _band_text(band, checked.options.crossover_hz))
    yield _line(checked, "fold_loss_db.full", "all of it")


def _band_text(band: str, crossover_hz: float) -> str:
    if band == "below_crossover":
        return f"below {crossover_hz:g} Hz"
    return f"{band.replace('-', ' to ')} Hz"


def _line(checked: Checked, key: str, label: str, comment: str = "") -> str:
    """One measure: value, verdict, and beside it the limit and a comment."""
    measure = MEASURES[key]
    target = checked.options.target
    limit = None if target is None else target.limits.get(key)
    value = value_of(checked.summary, key)
    held_against = "" if limit is None or key not in checked.verdicts else limit.text(measure.decimals)
    remark = "; ".join(text for text in (held_against, comment) if text)
    if value is None:
        why = WORDS_FOR_NULL[why_null(checked.summary, key)]
        return _cells(label, "--", "", _verdict_text(checked, key), f"{why}; {remark}" if remark else why)
    return _cells(label, _number(key, value, limit), measure.unit, _verdict_text(checked, key), remark)


def _number(key: str, value: float, limit: Limit | None) -> str:
    is_peak = key in ("true_peak_dbtp", "sample_peak_dbfs")
    return value_text(value, decimals=MEASURES[key].decimals, limit=limit, plus=is_peak)


def _cells(label: str, number: str, unit: str, verdict: str, remark: str) -> str:
    text = f"    {label:<{LABEL_WIDTH}}{number:>{NUMBER_WIDTH}} {unit:<{UNIT_WIDTH}}"
    return f"{text}  {verdict:<{VERDICT_WIDTH}} {remark}".rstrip()


def _verdict_text(checked: Checked, key: str) -> str:
    verdict = checked.verdicts.get(key)
    return "" if verdict is None else str(verdict)


def missed_text(checked: Checked) -> str:
    """What is not inside the target, in words; "" when nothing is."""
    target = checked.options.target
    if target is None:
        return ""
    missed = [key for key, verdict in checked.verdicts.items() if verdict is not Verdict.INSIDE]
    return "; ".join(_missed_text(checked, target, key) for key in missed)


def _conclusion(checked: Checked) -> Iterator[str]:
    target = checked.options.target
    if target is None:
        return
    missed = missed_text(checked)
    if not checked.verdicts:
        yield f"  Nothing here can be held against {target.title}."
    elif not missed:
        yield f"  Inside {target.title}, in all it limits."
    else:
        yield f"  Not inside {target.title}: {missed}."


def _missed_text(checked: Checked, target: Target, key: str) -> str:
    value, limit, measure = value_of(checked.summary, key), target.limits[key], MEASURES[key]
    name = _name(key, checked.options.crossover_hz)
    if value is None:
        return f"{name} cannot be told, there is too little sound"
    if math.isinf(value):
        return f"{name} is silence"
    bound = limit.max if verdict_on(value, limit) is Verdict.OVER else limit.min
    assert bound is not None
    unit = {"LUFS": " LU", "dBTP": " dB", "dBFS": " dB"}.get(measure.unit, f" {measure.unit}".rstrip())
    off = value_text(abs(value - bound), decimals=measure.decimals, limit=Limit(max=0.0))
    if key.startswith("fold_loss_db."):
        much = "much" if value < bound else "little"
        return f"{off}{unit} too {much} is lost in mono {name}"
    return f"{name} is {off}{unit} {checked.verdicts[key].word}"


def _name(key: str, crossover_hz: float) -> str:
    name, _, band = key.partition(".")
    if name == "fold_loss_db":
        return "over the whole range" if band == "full" else _band_text(band, crossover_hz)
    return {
        "integrated_lufs": "the integrated loudness",
        "loudest_30s_lufs": "the loudest 30 s",
        "short_term_max_lufs": "the highest short-term loudness",
        "momentary_max_lufs": "the highest momentary loudness",
        "loudness_range_lu": "the loudness range",
        "true_peak_dbtp": "the true peak",
        "sample_peak_dbfs": "the sample peak",
        "peak_to_loudness_lu": "the PLR",
        "correlation": "the correlation",
        "low_correlation": f"the correlation below {crossover_hz:g} Hz",
    }[name]
