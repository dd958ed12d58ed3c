"""How tunes and jumps are said: a table, a sentence for each jump, objects."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from meter.targets import value_text
from meter.tunes.listed import ListedTune


def clock(at_s: float) -> str:
    """m:ss, with hours where there are any."""
    seconds = round(at_s)
    minutes = f"{seconds // 60 % 60}:{seconds % 60:02d}"
    return f"{seconds // 3600}:{minutes:0>5}" if seconds >= 3600 else minutes


def table(tunes: Sequence[ListedTune]) -> list[str]:
    """The tunes of a set, a line each, under two lines of heading."""
    return [
        f"{'tune':>4}  {'begins':>8} {'length':>8} {'level':>7} {'step':>6}  name",
        f"{'':>4}  {'':>8} {'':>8} {'LUFS':>7} {'dB':>6}",
        *(_line(tune) for tune in tunes),
    ]


def _line(tune: ListedTune) -> str:
    level = "--" if tune.level_lufs is None else value_text(tune.level_lufs)
    step = "" if tune.size_db is None else f"{tune.size_db:+.1f}"
    length = clock(tune.stop_s - tune.start_s)
    jump = " jump" if tune.is_jump else ""
    text = (
        f"{tune.number:>4}  {clock(tune.start_s):>8} {length:>8} {level:>7} {step:>6}{jump:<5}  {tune.name}"
    )
    return text.rstrip()


def sentence(tune: ListedTune) -> str | None:
    """What to say of the jump at the beginning of a tune; None where there is none."""
    if tune.size_db is None or tune.trim_db is None:
        return None
    way = "louder" if tune.size_db > 0.0 else "quieter"
    turn = "down" if tune.trim_db < 0.0 else "up"
    called = f"tune {tune.number}" + (f" ({tune.name})" if tune.name else "")
    return (
        f"{clock(tune.start_s)}  {called} comes in {abs(tune.size_db):.1f} dB {way} than the one before "
        f"ended: trim it {turn} by {abs(tune.trim_db):.1f} dB, or leave it if the step was meant"
    )


def tune_object(tune: ListedTune) -> dict[str, Any]:
    """A tune as an object; what cannot be given is null."""
    return {
        "type": "tune",
        "tune": tune.number,
        "start_s": tune.start_s,
        "stop_s": tune.stop_s,
        "name": tune.name,
        "level_lufs": tune.level_lufs,
        "step_db": tune.size_db,
        "is_jump": tune.is_jump,
        "trim_db": tune.trim_db,
    }
