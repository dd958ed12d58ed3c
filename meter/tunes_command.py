"""`leadline journal tunes`: the tunes of a set and the jumps between them, and what the user says of them."""

from __future__ import annotations

import argparse
import json
import sys
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from collections.abc import Callable

    from meter.tunes.store import PassTunes

EPILOG: Final = """\
examples:
  leadline journal tunes 4                     the tunes of pass 4, and the jumps between them
  leadline journal tunes 4 --json              one object a tune
  leadline journal tunes 4 name 3 "the long one"
  leadline journal tunes 4 move 3 12:40        tune 3 begins there
  leadline journal tunes 4 split 31:05         another tune begins there
  leadline journal tunes 4 merge 5             tune 5 and the one behind it are one
  leadline journal tunes 4 undo                takes the last change back

They are found by their loudness: a tune begins where the level, breakdowns left out, becomes another. Two
that are equally loud are taken for one until you split them. A step of 1.2 dB and more is told as a jump.

exit status: 0 done, 2 unusable arguments, or a journal that cannot be read.
"""


def add_parser(actions: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add `tunes` to the actions of `journal`."""
    tunes = actions.add_parser(
        "tunes",
        help="the tunes of a set, and the jumps between them",
        description="List the tunes of a pass and the jumps between them, and put right what was found.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    tunes.add_argument("number", type=int, metavar="PASS")
    tunes.add_argument(
        "--json", action="store_true", default=argparse.SUPPRESS, help="one JSON object a tune"
    )
    tunes.set_defaults(run=run_list)
    changes = tunes.add_subparsers(title="what to change; without it the tunes are listed", metavar="CHANGE")

    def change(name: str, text: str, *values: tuple[str, type | None]) -> None:
        made = changes.add_parser(name, help=text, description=text, allow_abbrev=False)
        for value, kind in values:
            how: dict[str, Any] = {} if kind is None else {"type": kind}
            made.add_argument(value.lower(), metavar=value, **how)
        made.set_defaults(run=run_change, change=name)

    change("name", 'call a tune something; "" takes its name away', ("TUNE", int), ("NAME", None))
    change("move", "let a tune begin at another moment", ("TUNE", int), ("TIME", None))
    change("split", "let another tune begin at a moment", ("TIME", None))
    change("merge", "make one of a tune and the one behind it", ("TUNE", int))
    change("undo", "take the last change back")


def run_list(args: argparse.Namespace) -> int:
    """List the tunes."""
    from meter.journal.store import read_journal
    from meter.tunes import words
    from meter.tunes.store import PassTunes

    with read_journal() as journal:
        tunes = PassTunes(journal, journal.kept_pass(args.number)).listed()
    if args.json:
        for tune in tunes:
            _say(json.dumps(words.tune_object(tune), allow_nan=False))
        return 0
    jumps = [text for tune in tunes if (text := words.sentence(tune)) is not None]
    _say("\n".join([*words.table(tunes), *([""] if jumps else []), *jumps]))
    return 0


def run_change(args: argparse.Namespace) -> int:
    """Change them, and list them as they are then."""
    from meter.check_part import seconds_of
    from meter.journal.store import open_journal
    from meter.tunes.store import PassTunes

    changes: dict[str, Callable[[PassTunes], object]] = {
        "name": lambda tunes: tunes.name(args.tune, args.name),
        "move": lambda tunes: tunes.move(args.tune, seconds_of("the time", args.time)),
        "split": lambda tunes: tunes.split(seconds_of("the time", args.time)),
        "merge": lambda tunes: tunes.merge(args.tune),
    }
    with open_journal() as journal:
        tunes = PassTunes(journal, journal.kept_pass(args.number))
        if args.change == "undo":
            what = tunes.undo()
            if what is None:
                _say("there is nothing to take back: the tunes are as they were found")
                return 0
        else:
            changes[args.change](tunes)
    return run_list(args)


def _say(text: str) -> None:
    from meter.console import say

    say(text, sys.stdout)
