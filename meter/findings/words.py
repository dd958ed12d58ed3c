"""A finding in words: what, where, how much, likely why, what to try, and why it may be fine."""

from __future__ import annotations

from typing import Final

from meter.findings.found import Found
from meter.findings.more_words import WORDS
from meter.music_sentences import LOWER_IT, PUT_IN_THE_MIDDLE, lost_text, over_text, sides_text, why_lost
from meter.pass_cutter import QUIET_LUFS
from meter.sentence import ANEW, gap_text, seconds_text
from meter.soundings import Gap, as_text_time
from meter.targets import limit_text

WORSE_DB: Final = 3.0
"""Where the worst 3 s lose so much more than the whole stretch, they are named too."""


def text_of(found: Found) -> str:
    """The sentence of a finding. No capital and no full stop, as all sentences of the program."""
    return {
        "over": _over,
        "lost in mono": _lost,
        "one-sided": _one_sided,
        "silence": _silence,
        "gap": _gap,
        **WORDS,
    }[found.kind](found)


def _where(found: Found) -> str:
    since = as_text_time(found.first_s)
    if found.is_open:
        return f"since {since}, for {seconds_text(found.seconds)} so far"
    return f"from {since} to {as_text_time(found.until_s)}"


def _over(found: Found) -> str:
    text = over_text(found.peak_dbtp, found.limit_db, found.at_s)
    if found.count > 1:
        where = f"from {as_text_time(found.first_s)} to {as_text_time(found.until_s)}"
        text = f"{found.count} overs {where}: {text}"
    if found.live_pass.info.is_lossy:
        return (
            f"{text}, which decoding may have added to a master without room for it; lower the master by as "
            "much before it is encoded, unless it is meant to clip"
        )
    if found.samples_over:
        why = "the samples themselves too, as after a clipper or under a ceiling set too high"
    else:
        why = "between the samples, where a limiter that reads only samples sees nothing"
    return f"{text}, {why}; {LOWER_IT}"


def _lost(found: Found) -> str:
    lost = lost_text(found.loss_db, found.limit_db, found.band, found.live_pass.crossover_hz)
    if found.worst_loss_db <= found.loss_db - WORSE_DB:
        worst = f"{-found.worst_loss_db:.1f} dB in the 3 s from {as_text_time(found.worst_s)} on"
        lost = f"{lost} {_where(found)}, {worst}"
    else:
        lost = f"{lost} {_where(found)}"
    most = f"at most {limit_text(-found.limit_db)} dB"
    return f"{lost} ({most}): {why_lost(*found.sums, band=found.band)}"


def _one_sided(found: Found) -> str:
    ll, rr, _product = found.sums
    why = "it may be a pan, a balance or a cable"
    return f"{_where(found)} {sides_text(ll, rr)}: {why}; {PUT_IN_THE_MIDDLE}"


def _silence(found: Found) -> str:
    what = f"{seconds_text(found.seconds)} of silence at {as_text_time(found.first_s)}"
    around = f"under {QUIET_LUFS:.0f} LUFS with music before and after"
    why = "a dropout, or a clip that is muted or ends early"
    return f"{what}, {around}: {why}; listen there, and leave it if it is a break that is meant"


def _gap(found: Found) -> str:
    first = Gap(at_s=found.first_s, frames=found.frames)
    rate_hz = found.live_pass.rate_hz
    if found.count > 1:
        where = f"from {as_text_time(found.first_s)} to {as_text_time(found.until_s)}"
        text = f"{seconds_text(found.frames / rate_hz)} were lost in {found.count} gaps {where}"
    else:
        text = gap_text(first, rate_hz)
    if found.live_pass.info.spec.startswith("file:"):
        why = "the file is cut short or damaged there"
        return f"{text}: {why}; copy or export it again, or leave it if nothing is missing to the ear"
    why = "the computer was too busy or the source was away"
    advice = "close what works hard and play it again, or leave it if you cut it off yourself"
    return f"{text}; {ANEW}: {why}; {advice}"
