"""`leadline together KICK SUB`: whether a kick and a sub add or cancel, from the two by themselves."""

from __future__ import annotations

import argparse
import sys
from contextlib import closing
from pathlib import Path
from typing import Any, Final

import numpy as np

from meter.arguments import pair_from
from meter.check_json import as_line
from meter.console import say
from meter.errors import UsageError
from meter.files import open_audio
from meter.kick_and_sub import FITS, MOVE, TOO_FEW, VARIES, Together, together
from meter.units import Samples

LONGEST_S: Final = 20 * 60.0
"""Both are held in memory."""


def run(args: argparse.Namespace) -> int:
    """Look at the two and print what was found.

    Returns
    -------
    int
        0.

    Raises
    ------
    UsageError
        The arguments do not name a kick and a sub, or there is no kick.
    AudioFileError
        A file cannot be read.
    """
    kick_pair, sub_pair = (
        None if text is None else pair_from(text, option)
        for text, option in ((args.kick_channels, "--kick-channels"), (args.sub_channels, "--sub-channels"))
    )
    sub_name = args.kick if args.sub is None else args.sub
    if args.sub is None and (kick_pair is None or sub_pair is None):
        raise UsageError(
            "one file came, but a kick and a sub were expected; give two files, or say where each is in "
            "this one, such as --kick-channels 1,2 --sub-channels 3,4"
        )
    kick, rate_hz = _read(args.kick, kick_pair)
    sub, other_hz = _read(sub_name, sub_pair)
    if rate_hz != other_hz:
        raise UsageError(
            f"{args.kick} has {rate_hz} Hz and {sub_name} {other_hz} Hz, but one rate was expected; "
            "render both at the same rate"
        )
    _say(args, sub_name, together(kick, sub, rate_hz=rate_hz))
    return 0


def _say(args: argparse.Namespace, sub_name: str, found: Together) -> None:
    if args.json:
        say(as_line(as_object(args.kick, sub_name, found)), sys.stdout)
    else:
        say(block(args.kick, sub_name, found), sys.stdout)


def _read(name: str, pair: tuple[int, int] | None) -> tuple[Samples, int]:
    with open_audio(Path(name), pair=pair) as audio, closing(audio.blocks()) as blocks:
        parts, frames = [np.zeros((0, 1), np.float32)], 0
        for part in blocks:
            middle = np.nan_to_num(part[:, :2].mean(axis=1, keepdims=True), posinf=0.0, neginf=0.0)
            parts.append(middle.astype(np.float32))
            frames += len(part)
            if frames > LONGEST_S * audio.rate_hz:
                raise UsageError(
                    f"{name} is longer than {LONGEST_S / 60.0:.0f} minutes, but a stem of a tune was "
                    "expected; cut the passage out of both"
                )
        return np.concatenate(parts), audio.rate_hz


def block(kick: str, sub: str, found: Together) -> str:
    """What was found, for people."""
    lines = [f"{kick} with {sub}", f"    {_counted(found)}"]
    if found.verdict != TOO_FEW:
        g_db = sorted(hit.g_db for hit in found.hits)
        lines += [
            f"    as they are: {sum_text(found.g_db)}; hit by hit {g_db[0]:+.1f} to {g_db[-1]:+.1f} dB",
            f"    best for all of them: {setting_text(found)}, {found.best_db:+.1f} dB; it serves "
            f"{100.0 * found.served:.0f} % of the hits",
        ]
    return "\n".join([*lines, f"    {advice(found)}"])


def _counted(found: Together) -> str:
    both = len(found.hits)
    text = "1 hit has a sub under it" if both == 1 else f"{both} hits have a sub under them"
    return f"{text}, {found.without_sub} have none" if found.without_sub else text


def sum_text(g_db: float) -> str:
    """What the two make of each other."""
    if g_db >= 0.1:
        return f"they add, {g_db:.1f} dB over both apart"
    if g_db <= -0.1:
        return f"they cancel, {-g_db:.1f} dB under both apart"
    return "they neither add nor cancel"


def setting_text(found: Together) -> str:
    """A polarity and a place of the sub."""
    lag_ms = 1000.0 * found.lag_s
    turned = "the sub's polarity turned" if found.flips else "its polarity as it is"
    if abs(lag_ms) < 0.05:
        return f"{turned}, not moved"
    return f"{turned}, {abs(lag_ms):.1f} ms {'later' if lag_ms > 0.0 else 'earlier'}"


def advice(found: Together) -> str:
    """What to do."""
    if found.verdict == TOO_FEW:
        return "too few hits to say more: four with a sub under them are needed"
    if found.verdict == MOVE:
        moves = [f"move it by {1000.0 * found.lag_s:+.1f} ms"] if abs(found.lag_s) >= 5e-5 else []
        turns = ["turn the sub's polarity"] if found.flips else []
        return (
            f"try: {' and '.join([*turns, *moves])}; that gains {found.gain_db:.1f} dB in the low end of "
            "nearly every hit. Listen to it: more is not always better"
        )
    if found.verdict == VARIES:
        return (
            "it varies from hit to hit, no one setting helps: retrigger the sub's phase, duck it or "
            "shorten the kick"
        )
    return "nothing to gain: polarity and place of the sub are as good as they get"


_WORDS: Final = {FITS: "fits", MOVE: "move", VARIES: "varies", TOO_FEW: "too few hits"}


def as_object(kick: str, sub: str, found: Together) -> dict[str, Any]:
    """What was found, for programs."""
    is_told = found.verdict != TOO_FEW
    return {
        "type": "together",
        "kick": kick,
        "sub": sub,
        "verdict": _WORDS[found.verdict],
        "sum_db": round(found.g_db, 3) if is_told else None,
        "best_sum_db": round(found.best_db, 3) if is_told else None,
        "best_flips_sub": found.flips if is_told else None,
        "best_sub_later_ms": round(1000.0 * found.lag_s, 3) if is_told else None,
        "hits_served": round(found.served, 3) if is_told else None,
        "hits_without_sub": found.without_sub,
        "hits": [
            {
                "at_s": round(hit.at_s, 4),
                "sum_db": round(hit.g_db, 3),
                "best_sum_db": round(hit.best_db, 3),
                "best_flips_sub": hit.flips,
                "best_sub_later_ms": round(1000.0 * hit.lag_s, 3),
            }
            for hit in found.hits
        ],
    }
