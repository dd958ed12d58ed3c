"""What several commands take from the command line, and what is meant by it."""

from __future__ import annotations

import argparse
import math
import re
from typing import TYPE_CHECKING

from meter.errors import UsageError

if TYPE_CHECKING:
    from meter.low_end.settings import LowEndSettings


def add_crossover(parser: argparse.ArgumentParser) -> None:
    """Add `--crossover`; `crossover_from` reads it."""
    parser.add_argument(
        "--crossover",
        metavar="HZ",
        default="120",
        help="up to where the low end goes: 40 to 300 Hz, 120 unless set",
    )


def pair_from(text: str, option: str = "--channels") -> tuple[int, int]:
    """Two channels from "3,4"; `UsageError` for anything else."""
    found = re.fullmatch(r"\s*([1-9][0-9]{0,3})\s*,\s*([1-9][0-9]{0,3})\s*", text, re.ASCII)
    if found is None or int(found[1]) == int(found[2]):
        raise UsageError(
            f"{option} {text} came; expected two different channels counted from 1, such as {option} 3,4"
        )
    return int(found[1]), int(found[2])


def crossover_from(text: str) -> float:
    """A crossover frequency in Hz; `UsageError` for anything else."""
    from meter.check import CROSSOVER_RANGE_HZ

    lowest, highest = CROSSOVER_RANGE_HZ
    try:
        value_hz = float(text)
    except ValueError:
        value_hz = math.nan
    if not lowest <= value_hz <= highest:
        raise UsageError(f"--crossover {text} came; expected a frequency of {lowest:g} to {highest:g} Hz")
    return value_hz


def add_low_end(parser: argparse.ArgumentParser) -> None:
    """Add `--a4`, `--key`, `--kick-band` and `--no-low-end`; `low_end_from` reads them."""
    parser.add_argument(
        "--a4",
        metavar="HZ",
        default="440",
        help="concert pitch of the sub's notes: 415 to 466 Hz, 440 unless set",
    )
    parser.add_argument(
        "--key", metavar="KEY", help='key of the tune, such as "F minor": notes outside it are told'
    )
    parser.add_argument(
        "--kick-band",
        metavar="LOW-HIGH",
        default="90-100",
        help="where the bodies of the kicks should settle, in Hz: 90-100 unless set",
    )
    parser.add_argument(
        "--no-low-end", action="store_true", help="do not look for sub notes and kicks; a little quicker"
    )


def low_end_from(args: argparse.Namespace, *, crossover_hz: float) -> LowEndSettings | None:
    """How to look at the low end, None when not at all; `UsageError` for what cannot be meant."""
    from meter.low_end.settings import LowEndSettings

    settings = LowEndSettings(
        a4_hz=a4_from(args.a4),
        key=args.key,
        kick_band_hz=kick_band_from(args.kick_band),
        crossover_hz=crossover_hz,
    )
    return None if args.no_low_end else settings


def a4_from(text: str) -> float:
    """Concert pitch in Hz; `UsageError` for anything else."""
    from meter.low_end.settings import A4_RANGE_HZ

    lowest, highest = A4_RANGE_HZ
    value_hz = _number(text)
    if not lowest <= value_hz <= highest:
        raise UsageError(f"--a4 {text} came; expected {lowest:g} to {highest:g} Hz, such as --a4 440")
    return value_hz


def kick_band_from(text: str) -> tuple[float, float]:
    """The band of the kick's body from "90-100"; `UsageError` for anything else."""
    from meter.low_end.settings import KICK_RANGE_HZ

    low_hz, high_hz = (_number(part) for part in (*text.split("-"), "")[:2])
    if text.count("-") != 1 or not KICK_RANGE_HZ[0] <= low_hz < high_hz <= KICK_RANGE_HZ[1]:
        raise UsageError(
            f"--kick-band {text} came; expected two frequencies of {KICK_RANGE_HZ[0]:g} to "
            f"{KICK_RANGE_HZ[1]:g} Hz, the lower one first, such as --kick-band 90-100"
        )
    return low_hz, high_hz


def bpm_from(text: str) -> float:
    """A tempo in beats a minute; `UsageError` for anything else."""
    from meter.phrases import FASTEST_BPM, SLOWEST_BPM

    value = _number(text)
    if not SLOWEST_BPM <= value <= FASTEST_BPM:
        raise UsageError(f"--bpm {text} came; expected a tempo of {SLOWEST_BPM:g} to {FASTEST_BPM:g} BPM")
    return value


def downbeat_from(text: str) -> float:
    """Where bar 1 begins, in seconds; `UsageError` for anything else."""
    value_s = _number(text)
    if not math.isfinite(value_s):
        raise UsageError(f"--downbeat {text} came; expected a time in seconds, such as --downbeat 0.35")
    return value_s


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return math.nan
