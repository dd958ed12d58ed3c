"""What `leadline hearing` takes from the command line; what it does is in `meter.hearing_command`."""

from __future__ import annotations

import argparse
from typing import Final

from meter.dose_arguments import RULE_KEYS

EPILOG: Final = """\
examples:
  leadline hearing                                   setups, what today and seven days come to
  leadline hearing setup studio --feeds monitors     a setup of which nothing more is known
  leadline hearing headphones closed --sensitivity 96 --per mW --impedance 80 --volts 1
  leadline hearing calibrate studio                  with a sound level meter: asks before it plays
  leadline hearing rule niosh                        count by another rule
  leadline hearing add 98+-3:4 --note gig            4 h at about 98 dBA that the program did not hear
  leadline hearing undo                              take that back
  leadline hearing plan 92+-3                        by the clock: when it is used up at about 92 dBA
  leadline listen --setup closed                     with the level at the ear

Every level and dose is an estimate with an interval: no sound level meter, no medical advice. Local law and
qualified people come first. Ringing or muffled hearing: stop, whatever the number says. The program cannot
know of a volume knob behind this computer, of other days, or of the booth.

exit status: 0 done, 2 unusable arguments, or a journal that cannot be used.
"""


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    hearing = commands.add_parser(
        "hearing",
        help="how loud it is at the ear, and how long one can go on: an estimate",
        description="Calibrate setups, see what your ears have had, and enter what was heard elsewhere.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    hearing.add_argument("--json", action="store_true", help="one JSON object")
    hearing.set_defaults(run=_run, action="show")
    actions = hearing.add_subparsers(title="what to do; without it what is known is shown", metavar="ACTION")

    def action(name: str, text: str) -> argparse.ArgumentParser:
        made = actions.add_parser(name, help=text, description=text, allow_abbrev=False)
        made.set_defaults(run=_run, action=name)
        return made

    setup = action("setup", "name a setup, and what it feeds")
    setup.add_argument("name", metavar="NAME")
    setup.add_argument("--feeds", choices=("headphones", "monitors", "nothing"), required=True)
    setup.add_argument("--source", metavar="SPEC", default="", help="only for this source, such as system")
    phones = action("headphones", "calibrate a setup from the data of headphones")
    phones.add_argument("name", metavar="NAME")
    phones.add_argument("--sensitivity", metavar="DB", type=float, required=True, help="as printed")
    phones.add_argument("--per", choices=("mW", "V"), required=True, help="what it is printed for")
    phones.add_argument("--impedance", metavar="OHM", type=float, required=True)
    phones.add_argument("--volts", metavar="V", type=float, required=True, help="of a full-scale sine, rms")
    phones.add_argument("--open", action="store_true", help="measured without the headphones plugged in")
    phones.add_argument("--output-impedance", metavar="OHM", type=float, default=0.0)
    phones.add_argument("--volume", metavar="DB", type=float, default=0.0, help="set lower since, such as -6")
    phones.add_argument("--source", metavar="SPEC", default="", help="only for this source, such as system")
    calibrate = action("calibrate", "calibrate a setup with a sound level meter, while a noise plays")
    calibrate.add_argument("name", metavar="NAME")
    calibrate.add_argument("--feeds", choices=("headphones", "monitors"), default="monitors")
    calibrate.add_argument("--read", metavar="DBA", type=float, help="what the meter read, if known already")
    calibrate.add_argument("--plus", metavar="DB", type=float, default=2.0, help="how far it may be off")
    calibrate.add_argument(
        "--level", metavar="DBFS", type=float, default=-30.0, help="of the noise, at most -20; else -30"
    )
    calibrate.add_argument(
        "--source", metavar="SPEC", default="", help="only for this source, such as system"
    )
    use = action("use", "choose a setup")
    use.add_argument("name", metavar="NAME")
    rule = action("rule", "count by this rule")
    rule.add_argument("key", choices=RULE_KEYS)
    add = action("add", "enter sound that the program did not hear")
    add.add_argument("part", metavar="LEVEL:HOURS", help="dBA at the ear and hours: 98:4, 98+-3:4, 98:0:45")
    add.add_argument("--note", metavar="TEXT", default="heard elsewhere")
    add.add_argument("--ended", metavar="HH:MM", help="today at that time; just now unless set")
    remove = action("remove", "take an entry out")
    remove.add_argument("number", metavar="N", type=int)
    plan = action("plan", "see when it is used up by the clock, going on at a level from now")
    plan.add_argument("level", metavar="LEVEL", help="dBA at the ear: 92, or 92+-3 for about 92")
    action("undo", "undo the last entry or removal")


def _run(args: argparse.Namespace) -> int:
    from meter import hearing_command

    return hearing_command.run(args)
