"""The command line: what was asked for, and which part of the program does it.

Exit status: 0 done, 1 a file missed its target (with --strict) or a proof failed,
2 unusable arguments or an unreadable input, 130 stopped with Ctrl-C.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable
from typing import TYPE_CHECKING, Final

from meter import (
    check_arguments,
    dose_arguments,
    hearing_arguments,
    journal_command,
    listen_command,
    report_arguments,
    shelf_command,
    together_arguments,
    window_command,
)
from meter.errors import MeterError
from meter.window_command import Window

if TYPE_CHECKING:
    from meter.report.picture import Draw

INTERRUPTED: Final = 130
READER_GONE: Final = 141
"""As a shell reports a program that was stopped because nobody reads its output any more."""

ONE_THREAD: Final = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
"""Small matrix products on many threads burn whole cores and are slower."""

COMMANDS: Final = (
    "window",
    "check",
    "compare",
    "together",
    "prove",
    "demo",
    "listen",
    "sources",
    "journal",
    "shelf",
    "dose",
    "hearing",
    "report",
)
"""A word that is one of these is never taken for a path."""

EXAMPLES: Final = """\
without a command the window opens.

examples:
  leadline tune.wav crate/                       the window, with these drawn in it
  leadline check tune.wav                        what it measures
  leadline check crate/                          a table of a folder, with the trim of each tune
  leadline check *.wav --target club             each file held against a target
  leadline check tune.flac --target ebu-r128 --strict    exit status 1 when it misses
  leadline check set.wav --json                  one JSON object a line
  leadline listen --target club                  what the machine plays, live; Ctrl-C ends it
  leadline demo                                  the window on a tune with planted faults, without a sound
  leadline sources                               what can be listened to
  leadline journal                               what was heard, pass by pass
  leadline shelf compare tune.wav                against the records you admire, equally loud
  leadline dose 97:4 88:2 --rule niosh           what hours at a level come to: an estimate
  leadline report 7 --to set.html                a pass, a set or a file on one page
  leadline prove                                 the published test signals, measured here and now
"""


def main(
    argv: list[str] | None = None, *, window: Window | None = None, draw: Draw | None = None
) -> int:
    """Run a command.

    Parameters
    ----------
    argv : list of str, optional
        The arguments; those of the process when not given.
    window : callable, optional
        Opens the window, where there is one; see `Window`.
    draw : callable, optional
        Draws the picture of a report, where somebody can; see `meter.report.picture.Draw`.

    Returns
    -------
    int
        The exit status.
    """
    _hold_to_one_thread()
    try:
        status = _run(argv, window, draw)
        sys.stdout.flush()
        return status
    except KeyboardInterrupt:
        print("\nstopped", file=sys.stderr)
        return INTERRUPTED
    except BrokenPipeError:
        _forget_output()
        return READER_GONE


def _run(argv: list[str] | None, window: Window | None, draw: Draw | None) -> int:
    parser = build_parser(window, draw)
    try:
        words = sys.argv[1:] if argv is None else argv
        args = parser.parse_args(window_command.with_command(words, COMMANDS))
    except SystemExit as end:  # --help, --version, or arguments that make no sense
        return end.code if isinstance(end.code, int) else 2
    command: Callable[[argparse.Namespace], int] | None = args.run
    if command is None and window is None:
        parser.print_help()
        return 0
    try:
        return command(args) if command is not None else window_command.run(args)
    except MeterError as problem:
        return _say_problem(problem, as_json=getattr(args, "json", False))


def _forget_output() -> None:
    """Nobody reads the output any more; without this Python complains when it flushes at exit."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, sys.stdout.fileno())
    os.close(nowhere)


def build_parser(window: Window | None = None, draw: Draw | None = None) -> argparse.ArgumentParser:
    """All commands and their arguments; what runs one finds the window, and who draws, in them."""
    parser = argparse.ArgumentParser(
        prog="leadline",
        description="A loudness and low-end meter for people who make bass music.",
        epilog=EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("--version", action="version", version=f"leadline {_version()}")
    parser.set_defaults(run=None, window=window, draw=draw)
    commands = parser.add_subparsers(title="commands", metavar="COMMAND")
    window_command.add_parser(commands)
    check_arguments.add_parser(commands)
    _add_compare(commands)
    together_arguments.add_parser(commands)
    _add_prove(commands)
    listen_command.add_demo_parser(commands)
    listen_command.add_parser(commands)
    _add_sources(commands)
    journal_command.add_parser(commands)
    shelf_command.add_parser(commands)
    dose_arguments.add_parser(commands)
    hearing_arguments.add_parser(commands)
    report_arguments.add_parser(commands)
    return parser


COMPARE_EPILOG: Final = """\
example:
  leadline compare premaster.wav master.wav

The second is moved to the first, to a fraction of a sample, and brought to its level; both may begin up
to 1 s apart. What is left is what was done: the gain every 10 ms, the highest sample, and how much
differs in each band. Render both from the same passage, at one rate, at most 20 minutes long.

exit status: 0 done, 2 unusable arguments, a file that cannot be read, or two that are not the same
music.
"""


def _add_compare(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    compare = commands.add_parser(
        "compare",
        help="what a limiter did, from the files before and after it",
        description="Compare a file before and after a limiter or clipper: gain change, peaks, what differs.",
        epilog=COMPARE_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    compare.add_argument("before", metavar="BEFORE", help="the file before the limiter")
    compare.add_argument("after", metavar="AFTER", help="the same passage after it")
    compare.add_argument("--json", action="store_true", help="one JSON object, with the gain of every 10 ms")
    compare.set_defaults(run=_compare)


def _add_prove(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    prove = commands.add_parser(
        "prove",
        help="measure the published test signals here and now",
        description="Make the published test signals, measure them, and hold each to its limit.",
        epilog="exit status: 0 all inside, 1 one missed.",
        allow_abbrev=False,
    )
    prove.add_argument("--json", action="store_true", help="one JSON object a line")
    prove.set_defaults(run=_prove)


def _add_sources(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    sources = commands.add_parser(
        "sources",
        help="what can be listened to",
        description="List what can be listened to, and for what cannot: why, and what to do.",
        allow_abbrev=False,
    )
    sources.add_argument("--json", action="store_true", help="one JSON object a line")
    sources.set_defaults(run=_sources)


def _compare(args: argparse.Namespace) -> int:
    from meter import compare_command

    return compare_command.run(args.before, args.after, as_json=args.json)


def _prove(args: argparse.Namespace) -> int:
    from meter import prove

    return prove.run(args.json)


def _sources(args: argparse.Namespace) -> int:
    from meter import sources_command

    return sources_command.run(args.json)


def _say_problem(problem: MeterError, *, as_json: bool) -> int:
    from meter.console import say

    if as_json:
        import json

        say(json.dumps({"type": "error", "path": None, "message": str(problem)}), sys.stdout)
    say(f"error: {problem}", sys.stderr)
    return 2


def _hold_to_one_thread() -> None:
    if "numpy" not in sys.modules:
        for name in ONE_THREAD:
            os.environ.setdefault(name, "1")


def _version() -> str:
    from importlib.metadata import PackageNotFoundError, version

    try:
        return version("leadline")
    except PackageNotFoundError:
        return "(run from its folder)"
