"""What `leadline report` takes from the command line; what it does is in `meter.report_command`."""

from __future__ import annotations

import argparse
from typing import Final

from meter.delivery.arguments import add_delivery

EPILOG: Final = """\
examples:
  leadline report 7 --to set.html                 a pass of the journal; "leadline journal" lists them
  leadline report master.wav --to master.html --target club
  leadline report master.wav --to master.html --encode aac:256,mp3:320 --playback all
  leadline report 7 --to set.png                  a picture of lanes and numbers, to send on
  leadline report 7 --to set.csv                  a line a second
  leadline report 7 --to set.json                 the numbers, for other programs

The page holds everything, needs nothing from elsewhere, reads on a phone and prints. A file that is no
report is never written over, unless --force says so.

exit status: 0 done, 2 unusable arguments, or a file that cannot be read or written.
"""


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    report = commands.add_parser(
        "report",
        help="a pass, a set or a file told on one page",
        description="Write a report of a pass of the journal, or of an audio file.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    report.add_argument("what", metavar="PASS", help="the number of a pass, or an audio file")
    report.add_argument(
        "--to", metavar="FILE", required=True, help="what to write: .html, .png, .csv or .json"
    )
    report.add_argument("--target", metavar="NAME", help="hold it against this target")
    add_delivery(report)
    report.add_argument("--force", action="store_true", help="write over a file that is no report")
    report.set_defaults(run=_run)


def _run(args: argparse.Namespace) -> int:
    from meter import report_command

    return report_command.run(args)
