"""`leadline together KICK SUB`: whether a kick and a sub add or cancel, from the two by themselves."""

from __future__ import annotations

import argparse
import sys
from typing import Any, Final

from meter.arguments import pair_from
from meter.check_json import as_line
from meter.console import say
from meter.errors import UsageError
from meter.kick_and_sub import FITS, MOVE, TOO_FEW, VARIES, Together, together
from meter.stems import Stem, read_both
from meter.together_words import advice, as_they_are, best_text, counted


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
    kick, sub, rate_hz = read_both(Stem(name=args.kick, pair=kick_pair), Stem(name=sub_name, pair=sub_pair))
    _say(args, sub_name, together(kick, sub, rate_hz=rate_hz))
    return 0


def _say(args: argparse.Namespace, sub_name: str, found: Together) -> None:
    if args.json:
        say(as_line(as_object(args.kick, sub_name, found)), sys.stdout)
    else:
        say(block(args.kick, sub_name, found), sys.stdout)


def block(kick: str, sub: str, found: Together) -> str:
    """What was found, for people."""
    lines = [f"{kick} with {sub}", f"    {counted(found)}"]
    if found.verdict != TOO_FEW:
        lines += [f"    {as_they_are(found)}", f"    {best_text(found)}"]
    return "\n".join([*lines, f"    {advice(found)}"])


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
