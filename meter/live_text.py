"""What is heard now as text: a block of lines for a terminal, or one line. Nothing is printed here.

The block asks the same questions as the lanes of the window, and has the same number of lines
whatever happens, so that nothing in it moves but what it says.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from typing import Final

from meter import sounding_line
from meter.music_sentences import band_text
from meter.now import Now
from meter.screen import fit
from meter.shown import BELOW, FOLD, loudness_limit, number, overs_unit, recent_peak, shown
from meter.soundings import as_text_time
from meter.targets import SHORT_TERM_KEY, Limit, value_text

WIDTH: Final = 79
"""One column of 80 stays free: a terminal may break a line that fills it."""

SENTENCE_LINES: Final = 3
BLOCK_LINES: Final = 13
LABEL_WIDTH: Final = 17
NUMBER_WIDTH: Final = 6


def block(now: Now, sentence: str, *, columns: int = WIDTH + 1) -> list[str]:
    """Everything that is known now, `BLOCK_LINES` lines.

    Parameters
    ----------
    now : Now
    sentence : str
        The one sentence.
    columns : int
        Of the terminal; lines are cut to one less.
    """
    width = min(WIDTH, columns - 1)
    lines = [_ends(*_heading(now), width), *_wrapped(sentence, width)]
    lines += _loudness(now)
    lines += [_labelled("Any overs?", _peaks(now))]
    lines += _sides(now)
    lines += [_ends(*_footing(now), width)]
    return [fit(line.rstrip(), width) for line in lines]


def line(now: Now, sentence: str) -> str:
    """What is known now, and the sentence, on one line."""
    reading = now.reading
    parts = [as_text_time(reading.at_s if reading is not None else 0.0)]
    for letter, key in (("S", SHORT_TERM_KEY), ("I", "integrated_lufs"), ("L", "loudest_30s_lufs")):
        parts.append(f"{letter} {_value(now, key)}")
    parts[-1] += " LUFS"
    parts.append(f"peak {recent_peak(now)} dBTP")
    parts.append(f"r {_value(now, 'correlation')}")
    parts.append(f"mono {_value(now, BELOW)} dB")
    parts.append(sentence)
    return fit("  ".join(parts), 1000)


# --- the head and the foot


def _heading(now: Now) -> tuple[str, str]:
    words = [now.state.info.name]
    if now.rate_hz is not None and now.channels is not None:
        words += [
            f"{now.rate_hz / 1000:g} kHz",
            {1: "mono", 2: "stereo"}.get(now.channels, f"{now.channels} channels"),
        ]
    if now.reading is not None:
        words.append(as_text_time(now.reading.at_s)[:-2])
    if now.pass_number > 1:
        words.append(f"pass {now.pass_number}")
    return " · ".join(words), "" if now.target is None else f"held against {now.target.title}"


def _footing(now: Now) -> tuple[str, str]:
    lost = 0 if now.reading is None else now.reading.lost_frames
    words = [f"{lost} frames lost"]
    state = now.state
    if state.is_muted:
        words.append("system muted")
    elif state.volume_db is not None:
        words.append(
            f"system volume {value_text(state.volume_db, limit=Limit(min=0.0, max=0.0), plus=True)} dB"
        )
    return " " + " · ".join(words), "Ctrl-C ends it "


def _ends(left: str, right: str, width: int) -> str:
    """Two texts at both ends of a line; the left one gives way."""
    room = max(width - len(right) - 2, 0)
    return f"{fit(left, room):<{room}}  {right}"


def _wrapped(sentence: str, width: int) -> list[str]:
    lines = textwrap.wrap(sentence, max(width - 2, 1), break_on_hyphens=False) or [""]
    if len(lines) > SENTENCE_LINES:
        lines = [*lines[: SENTENCE_LINES - 1], fit(" ".join(lines[SENTENCE_LINES - 1 :]), width - 2)]
    lines += [""] * (SENTENCE_LINES - len(lines))
    return [f"{'> ' if k == 0 else '  '}{text}" for k, text in enumerate(lines)]


def _labelled(label: str, text: str) -> str:
    return f" {label:<{LABEL_WIDTH - 1}}{text}"


# --- the questions


def _loudness(now: Now) -> Iterator[str]:
    asked = loudness_limit(now.target)
    band = None if asked is None else asked[1]
    keys = {"S": SHORT_TERM_KEY, "L": "loudest_30s_lufs", "I": "integrated_lufs"}
    marks = {letter: number(now, key) for letter, key in keys.items()}
    yield _labelled("How loud?", sounding_line.rope(marks, band) + " LUFS")
    yield _labelled("", sounding_line.scale(band))
    short_term = _measure(now, "S short-term", SHORT_TERM_KEY)
    yield _labelled("", f"  {short_term}{_measure(now, 'M momentary', 'momentary_lufs')}")
    loudest = _measure(now, "L loudest 30 s", "loudest_30s_lufs")
    yield _labelled("", f"  {loudest}{_measure(now, 'I integrated', 'integrated_lufs')}")


def _measure(now: Now, name: str, key: str) -> str:
    return f"{name:<15}{_value(now, key):>{NUMBER_WIDTH}} {_verdict(now, key):<10}"


def _peaks(now: Now) -> str:
    reading, highest = now.reading, _value(now, "true_peak_dbtp")
    text = (
        f"  true peak {recent_peak(now):>5}, highest {highest:>5} dBTP {_verdict(now, 'true_peak_dbtp'):<10}"
    )
    if reading is None or reading.overs == 0:
        return text
    return f"{text}{reading.overs} {overs_unit(reading.overs)}"


def _sides(now: Now) -> Iterator[str]:
    if now.channels == 1:
        yield _labelled("Left and right?", "  one channel: nothing to compare")
        yield _labelled("Lost in mono?", "  nothing")
        yield ""
        return
    r = f"  r {_value(now, 'correlation'):>5} {_verdict(now, 'correlation')}"
    yield _labelled("Left and right?", r)
    text = (
        f"{band_text('below_crossover', now.crossover_hz)} {_value(now, BELOW):>5} dB {_verdict(now, BELOW)}"
    )
    yield _labelled("Lost in mono?", f"  {text}")
    bands = {"20-60": "20-60", "60-120": "60-120", "120-250": "120-250 Hz", "full": "all"}
    text = "  ".join(f"{name} {_value(now, f'{FOLD}{band}'):>5}" for band, name in bands.items())
    yield _labelled("", f"  {text} dB")


def _value(now: Now, key: str) -> str:
    return shown(now, key).text


def _verdict(now: Now, key: str) -> str:
    verdict = shown(now, key).verdict
    return "" if verdict is None else str(verdict)
