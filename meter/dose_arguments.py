"""What `leadline dose` takes from the command line; what it does is in `meter.dose_command`."""

from __future__ import annotations

import argparse
from typing import Final

RULE_KEYS: Final = ("who-adult", "who-sensitive", "niosh", "eu-day", "eu-week")
"""The keys of `meter.exposure.rules.RULES`, which needs numpy."""

EPILOG: Final = """\
rules:
  who-adult       7 days, 100 % = 80 dBA for 40 h (ITU-T H.870)
  who-sensitive   7 days, 100 % = 75 dBA for 40 h (ITU-T H.870)
  niosh           one day, 100 % = 85 dBA for 8 h, 3 dB halve the time (NIOSH 98-126)
  eu-day          the level of a working day in dB, against 80 / 85 / 87 (2003/10/EC)
  eu-week         the same as the mean of a working week

examples:
  leadline dose 97:4 88:2 --rule niosh      4 h at 97 dBA, then 2 h at 88 dBA
  leadline dose 98+-3:4                     4 h at about 98 dBA, 3 dB more or less
  leadline dose 78:6 95:0:45 --at 80        6 h and 45 min so far; how long is left at 80 dBA

What comes out is an estimate, only as good as the levels: no sound level meter, no medical advice. Local
law and qualified people come first. Ringing or muffled hearing: stop, whatever the number says.

exit status: 0 done, 2 unusable arguments.
"""

def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "dose",
        help="what hours at a level come to, by a published rule",
        description="Estimate the exposure of some hours at some A-weighted levels at the ear.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument(
        "parts", metavar="LEVEL:HOURS", nargs="+", help="level in dBA at the ear, and hours or h:min; 97:4"
    )
    parser.add_argument("--rule", choices=RULE_KEYS, default="who-adult", help="who-adult unless set")
    parser.add_argument(
        "--at", metavar="LEVEL", help="tell how long is left at this level in dBA; the last one unless set"
    )
    parser.add_argument("--json", action="store_true", help="one JSON object")
    parser.set_defaults(run=_run)



def _run(args: argparse.Namespace) -> int:
    from meter import dose_command

    return dose_command.run(args)
