"""The encode check of one file: read again, tried with each encoder, and told."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import closing
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from meter.delivery.codecs import EncodeError, Wish
from meter.delivery.encoded import LONGEST_S, Encoded, encode_check
from meter.findings.records import Finding
from meter.soundings import SOUNDINGS_A_SECOND, as_text_time
from meter.targets import value_text

if TYPE_CHECKING:
    from meter.audio_file import AudioFile
    from meter.check_part import Part

KIND: Final = "over once encoded"
MOST_PLACES: Final = 3


def encodes_of(
    audio: AudioFile,
    part: Part,
    wishes: Sequence[Wish],
    *,
    ceiling_dbtp: float,
    integrated_lufs: float | None,
) -> tuple[list[Encoded], list[str]]:
    """What each encoder makes of a file, and sentences on those that could not be tried."""
    try:
        frames = _read(audio, part)
    except EncodeError as error:
        return [], [f"it was not encoded: {error}"]
    done: list[Encoded] = []
    notes: list[str] = []
    for wish in wishes:
        try:
            done.append(
                encode_check(
                    frames,
                    audio.rate_hz,
                    wish,
                    ceiling_dbtp=ceiling_dbtp,
                    integrated_lufs=integrated_lufs,
                )
            )
        except EncodeError as error:
            sentence = f"{wish.title}: {error}"
            if sentence not in notes:
                notes.append(sentence)
    return done, notes


def _read(audio: AudioFile, part: Part) -> np.ndarray[Any, np.dtype[np.float32]]:
    length_s = part.length_s(audio)
    if length_s is not None and length_s > LONGEST_S:
        raise _too_long(length_s)
    parts, frames = [], 0
    with closing(part.blocks(audio)) as blocks:
        for block in blocks:
            parts.append(np.array(block, np.float32))
            frames += len(block)
            if frames > LONGEST_S * audio.rate_hz:
                raise _too_long(frames / audio.rate_hz)
    return np.concatenate(parts) if parts else np.zeros((0, audio.channels), np.float32)


def _too_long(length_s: float) -> EncodeError:
    return EncodeError(
        f"it is {length_s / 60.0:.0f} minutes long, but at most {LONGEST_S / 60.0:.0f} were expected; "
        "give one tune, or a part with --from and --to"
    )


# --- told


def encode_lines(encodes: Sequence[Encoded]) -> Iterator[str]:
    """A question and a line for each encoder; nothing where none was tried."""
    if not encodes:
        return
    yield "  Will it clip once encoded?"
    for one in encodes:
        peak = value_text(one.true_peak_dbtp, plus=True)
        first, *rest = _overs_texts(one)
        yield f"    {one.wish.title:<16}{peak:>8} dBTP  {first}"
        yield from (f"{'':<35}{text}" for text in rest)
    yield "    with these encoders at these rates; what a service does to a file is not known here"


def _overs_texts(one: Encoded) -> list[str]:
    ceiling = f"{one.ceiling_dbtp:.1f} dBTP"
    if one.over_count == 0:
        return [f"under {ceiling}"]
    places = ", ".join(as_text_time(over.at_s) for over in _worst(one))
    many = f"{one.over_count} peaks" if one.over_count > 1 else "1 peak"
    trim = "no trim was found that keeps under it"
    if one.trim_db is not None:
        trim = f"{one.trim_db:.1f} dB lower keeps under it"
    return [f"{many} above {ceiling}, highest at {places}", trim]


def _worst(one: Encoded) -> list[Any]:
    found: list[Any] = []
    for over in sorted(one.overs, key=lambda each: -each.peak_dbtp):
        if all(abs(over.at_s - other.at_s) >= 1.0 for other in found):
            found.append(over)
        if len(found) == MOST_PLACES:
            break
    return sorted(found, key=lambda each: each.at_s)


def encode_objects(encodes: Sequence[Encoded], *, from_s: float = 0.0) -> list[dict[str, Any]]:
    """The same for programs."""
    return [
        {
            "codec": one.wish.codec.key,
            "kbps": one.wish.kbps,
            "sample_rate_hz": one.rate_hz,
            "true_peak_dbtp": round(one.true_peak_dbtp, 3) if np.isfinite(one.true_peak_dbtp) else None,
            "overs": one.over_count,
            "places": [
                {"at_s": round(over.at_s + from_s, 4), "true_peak_dbtp": round(over.peak_dbtp, 3)}
                for over in _worst(one)
            ],
            "integrated_change_lu": _rounded(one.integrated_change_lu),
            "ceiling_dbtp": one.ceiling_dbtp,
            "trim_db": one.trim_db,
        }
        for one in encodes
    ]


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 3) + 0.0


def encode_findings(encodes: Sequence[Encoded], *, from_s: float = 0.0) -> tuple[Finding, ...]:
    """One finding: the encoder that goes farthest over."""
    over = [one for one in encodes if one.over_count]
    if not over:
        return ()
    one = max(over, key=lambda each: each.true_peak_dbtp)
    worst = max(one.overs, key=lambda each: each.peak_dbtp)
    excess_db = one.true_peak_dbtp - one.ceiling_dbtp
    at_s = worst.at_s + from_s
    what = (
        f"turn the master down by {one.trim_db:.1f} dB"
        if one.trim_db is not None
        else "make it less loud before the limiter"
    )
    text = (
        f"encoded as {one.wish.title} the true peak goes {excess_db:.1f} dB over {one.ceiling_dbtp:.1f} dBTP "
        f"at {as_text_time(at_s)}, {one.over_count} times in all: coding adds to what is limited hard; "
        f"{what}, or leave it if players turn it down anyway; another encoder does it otherwise"
    )
    slot = round(worst.at_s * SOUNDINGS_A_SECOND)
    return (
        Finding(
            kind=KIND,
            first_slot=slot,
            last_slot=slot + 1,
            at_slot=slot,
            at_s=at_s,
            pass_number=1,
            severity=excess_db,
            is_open=False,
            until_s=at_s,
            amount=excess_db,
            unit="dB",
            text=text,
        ),
    )
