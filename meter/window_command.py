"""`leadline` without a command, and `leadline window`.

`meter` knows no window: it is opened by what was given to the command line.
"""

from __future__ import annotations

import argparse
import os
from collections.abc import Container, Sequence
from pathlib import Path
from typing import Final, Protocol

from meter.errors import UsageError

NO_WINDOW = 2

NO_JOURNAL: Final = "--no-journal"


class Window(Protocol):
    """Shows the window until it is closed."""

    def __call__(
        self,
        source_spec: str | None,
        target_name: str | None,
        /,
        *,
        paths: Sequence[str] = (),
        keeps: bool = True,
    ) -> int | None:
        """Show it.

        Parameters
        ----------
        source_spec, target_name : str or None
            None: as they were at last.
        paths : sequence of str
            Files and folders to measure and show.
        keeps : bool
            What is heard live goes into the journal.

        Returns
        -------
        int or None
            The exit status; None when no window can be shown here, which has been said then.
        """


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add `window` to the commands."""
    window = commands.add_parser(
        "window",
        help="open the window; the same as no command at all",
        description="Open the window. Without options it listens to what it listened to at last. Files and "
        "folders are measured beside that, and each file is drawn as one pass.",
        epilog="exit status: 0 done, 2 no window can be shown, or unusable arguments.",
        allow_abbrev=False,
    )
    window.add_argument("--source", metavar="SPEC", help="what to listen to; as at last unless set")
    window.add_argument("--target", metavar="NAME", help="what to hold it against; as at last unless set")
    window.add_argument("paths", nargs="*", metavar="PATH", help="files and folders to measure and show")
    window.add_argument(NO_JOURNAL, action="store_true", help="keep nothing of what is heard")
    window.set_defaults(run=run)


def with_command(args: Sequence[str], commands: Container[str]) -> list[str]:
    """The arguments, with the name of this command before those that are only paths.

    `leadline tune.wav` opens the window with it. A word that is no path is left as it is: a
    mistyped command is told, not opened.
    """
    first = args[0] if args else ""
    if first == NO_JOURNAL or (first not in commands and _is_path(first)):
        return ["window", *args]
    return list(args)


def _is_path(word: str) -> bool:
    if not word or word.startswith("-"):
        return False
    return os.path.lexists(word) or os.sep in word or bool(Path(word).suffix)


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
    status = window(
        getattr(args, "source", None),
        getattr(args, "target", None),
        paths=getattr(args, "paths", ()),
        keeps=not getattr(args, "no_journal", False),
    )
    return NO_WINDOW if status is None else status
