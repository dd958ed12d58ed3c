"""``python -m demo_signals``: list the planted faults; with ``--write DIR``, write the files anew."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from demo_signals import faults, shipped
from meter.errors import MeterError, UsageError


def fault_line(fault: faults.Fault) -> str:
    """One fault as one line of text: bars, time, sentence, and what a meter must read."""
    minutes, seconds = divmod(fault.start_s, 60.0)
    return (
        f"bars {fault.start_bar}-{fault.end_bar}, {int(minutes)}:{seconds:04.1f}: {fault.sentence} "
        f"[{fault.measure} {fault.expected:+.2f} ±{fault.tolerance:g} {fault.unit}]"
    )


def write_all(folder: Path) -> list[Path]:
    """Write the excerpts and the whole tune into a folder, made when missing.

    Raises
    ------
    UsageError
        When the folder cannot be made or written to.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        return [*shipped.write_excerpts(folder), shipped.write_tune(folder)]
    except (OSError, RuntimeError) as problem:
        raise UsageError(
            f"{folder} cannot be written to ({problem}); give --write a folder that can"
        ) from problem


def main(argv: list[str] | None = None) -> int:
    """Run the command; 0 done, 2 when the folder cannot be used."""
    parser = argparse.ArgumentParser(prog="python -m demo_signals", description=__doc__)
    parser.add_argument("--write", metavar="DIR", type=Path, help="write excerpts and tune here")
    folder = parser.parse_args(argv).write
    if folder is None:
        print("\n".join(map(fault_line, faults.FAULTS)))
        return 0
    try:
        print("\n".join(map(str, write_all(folder))))
    except MeterError as problem:
        print(f"error: {problem}", file=sys.stderr)
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main())
