"""The arguments of `leadline together`."""

from __future__ import annotations

import argparse
from typing import Final

EXAMPLES: Final = """\
examples:
  leadline together kick.wav sub.wav
  leadline together project.wav --kick-channels 1,2 --sub-channels 3,4

Both begin at the same moment of the tune, at one rate, at most 20 minutes long. Around each kick, 120 ms of
both are added up in 30 to 120 Hz: more than the two apart is adding, less is cancelling. The sub is then
tried turned and up to 12 ms earlier and later. A setting is suggested only when it serves nearly all hits;
more is not always better, and what moves against the drums may lose its groove.

exit status: 0 done, 2 unusable arguments, a file that cannot be read, or no kick in the first.
"""


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "together",
        help="whether a kick and a sub add or cancel, from their two stems",
        description="Look at a kick and a sub that are apart: do they add or cancel, and what would help?",
        epilog=EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("kick", metavar="KICK", help="the file with the kick, or with both")
    parser.add_argument("sub", metavar="SUB", nargs="?", help="the file with the sub; KICK when not given")
    parser.add_argument("--kick-channels", metavar="A,B", help="where the kick is, such as 1,2")
    parser.add_argument("--sub-channels", metavar="A,B", help="where the sub is, such as 3,4")
    parser.add_argument("--json", action="store_true", help="one JSON object, with every hit")
    parser.set_defaults(run=_run)


def _run(args: argparse.Namespace) -> int:
    from meter import together_command

    return together_command.run(args)
