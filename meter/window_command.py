"""`leadline` without a command, and `leadline window`.

`meter` knows no window: it is opened by what was given to the command line.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import TypeAlias

from meter.errors import UsageError

Window: TypeAlias = Callable[[str | None, str | None], int | None]
"""Takes a source and a target (None: as they were at last) and shows the window until it is closed.
Gives the exit status; None when no window can be shown here, which it has said then."""

NO_WINDOW = 2


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add `window` to the commands."""
    window = commands.add_parser(
        "window",
        help="open the window; the same as no command at all",
        description="Open the window. Without options it listens to what it listened to at last.",
        epilog="exit status: 0 done, 2 no window can be shown, or unusable arguments.",
        allow_abbrev=False,
    )
    window.add_argument("--source", metavar="SPEC", help="what to listen to; as at last unless set")
    window.add_argument("--target", metavar="NAME", help="what to hold it against; as at last unless set")
    window.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Open the window.

    Raises
    ------
    UsageError
        The program was started in a way that has none.
    """
    window: Window | None = args.window
    if window is None:
        raise UsageError("this way of starting has no window; start it with leadline, or python -m ui")
    status = window(getattr(args, "source", None), getattr(args, "target", None))
    return NO_WINDOW if status is None else status
