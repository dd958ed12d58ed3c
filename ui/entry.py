"""The command `leadline`: the command line of `meter`, which is given ways to open the window and to draw."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING

from meter import cli
from meter.console import say

if TYPE_CHECKING:
    from meter.report.picture import Picture


def main(argv: list[str] | None = None) -> int:
    """Run a command; without one, open the window. The exit status."""
    return cli.main(argv, window=open_window, draw=draw_report)


def draw_report(picture: Picture, /) -> bytes:
    """A report as a PNG file; see `ui.report_picture.draw`."""
    from ui.report_picture import draw

    return draw(picture)


def open_window(
    source_spec: str | None, target_name: str | None, /, *, paths: Sequence[str] = (), keeps: bool = True
) -> int | None:
    """Show the window until it is closed.

    Parameters
    ----------
    source_spec, target_name : str or None
        None = as it was at last.
    paths : sequence of str
        Files and folders to measure and show.
    keeps : bool
        What is heard live goes into the journal.

    Returns
    -------
    int or None
        The exit status; None when no window can be shown here, which has been said then.

    Raises
    ------
    MeterError
        There is no such target.
    """
    from ui.app import run
    from ui.screen_check import NoWindow

    try:
        return run(source_spec, target_name, paths=paths, keeps=keeps)
    except NoWindow as why:
        say(str(why), sys.stderr)
        return None
