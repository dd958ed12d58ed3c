"""`leadline journal`: what was heard, pass by pass."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from typing import Any, Final

from meter import tunes_command

EPILOG: Final = """\
examples:
  leadline journal list                the passes that were heard; the same without `list`
  leadline journal show 3 --target club
  leadline journal export 3 --csv      ten rows a second, for other programs
  leadline journal detail 30           ten rows a second for 30 days, then one; 90 unless set
  leadline journal tunes 4             the tunes of a set, and the jumps between them
  leadline journal compare 3           with the shelf, equally loud
  leadline journal keep 3 --name "my set opener"    onto the shelf, to compare with
  leadline journal forget 1 2          and `leadline journal undo` brings them back
  leadline journal forget 1 --for-good          at once, to make room on the disk

What the window and `leadline listen` hear live is kept: the numbers of every 100 ms, never audio. A pass
ends after 5 s of silence, at a gap, a mark or another source; a set (`leadline listen --set`) does not.
One that was broken off, as by a crash, is closed with what was written. Files that were checked are kept
only when they are put on the shelf (`leadline shelf add FILE`); the demo is not kept. What was forgotten
can be brought back for 7 days, then it is gone. LEADLINE_HOME moves the journal to another folder.

exit status: 0 done, 2 unusable arguments, or a journal that cannot be read.
"""

NUMBER: Final = "the number of a pass, as `leadline journal list` tells it"


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add `journal` to the commands."""
    journal = commands.add_parser(
        "journal",
        help="what was heard, pass by pass",
        description="List, show, export and forget the passes that were heard.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    journal.add_argument("--json", action="store_true", help="one JSON object a line")
    journal.add_argument("--all", action="store_true", help="list passes under 10 s too")
    journal.set_defaults(run=run_list)
    actions = journal.add_subparsers(title="what to do; without it the passes are listed", metavar="ACTION")

    def action(name: str, text: str, run: Any) -> argparse.ArgumentParser:
        made = actions.add_parser(name, help=text, description=text, allow_abbrev=False)
        made.set_defaults(run=run)
        return made

    listing = action("list", "the passes that were heard", run_list)
    listing.add_argument(
        "--json", action="store_true", default=argparse.SUPPRESS, help="one JSON object a line"
    )
    listing.add_argument(
        "--all", action="store_true", default=argparse.SUPPRESS, help="list passes under 10 s too"
    )
    show = action("show", "everything about one pass", run_show)
    show.add_argument("number", type=int, metavar="N", help=NUMBER)
    show.add_argument("--target", metavar="NAME", help="hold it against this target")
    show.add_argument("--json", action="store_true", default=argparse.SUPPRESS, help="one JSON object")
    forget = action("forget", "take passes out of the journal; can be undone for 7 days", run_forget)
    forget.add_argument("numbers", nargs="+", type=int, metavar="N", help=NUMBER)
    forget.add_argument(
        "--for-good", action="store_true", help="at once, to make room on the disk; nothing brings them back"
    )
    action("undo", "bring back what was forgotten last", run_undo)
    detail = action("detail", "how long passes are kept with ten rows a second", run_detail)
    detail.add_argument("days", nargs="?", metavar="DAYS", help="a number of days, or forever")
    export = action(
        "export", "every sounding of a pass, ten a second, or one where it was made coarser", run_export
    )
    export.add_argument("number", type=int, metavar="N", help=NUMBER)
    form = export.add_mutually_exclusive_group(required=True)
    form.add_argument("--csv", action="store_true", help="a table with a heading")
    form.add_argument("--json", action="store_true", default=argparse.SUPPRESS, help="one JSON object a line")
    tunes_command.add_parser(actions)
    keep = action("keep", "put a pass on the shelf, to compare with", run_keep)
    keep.add_argument("number", type=int, metavar="N", help=NUMBER)
    keep.add_argument("--name", metavar="NAME", help='what to call it; "pass N" unless set')
    compare = action("compare", "compare a pass with the shelf, equally loud", run_compare)
    compare.add_argument("number", type=int, metavar="N", help=NUMBER)
    some = "only these; all of them unless set"
    compare.add_argument("--with", dest="names", nargs="+", default=[], metavar="NAME", help=some)
    compare.add_argument("--json", action="store_true", default=argparse.SUPPRESS, help="one JSON object")


def run_list(args: argparse.Namespace) -> int:
    """List the passes."""
    from meter.journal import text
    from meter.journal.closing import end_abandoned
    from meter.journal.store import read_journal

    with read_journal() as journal:
        _say_notes(journal.notes)
        _say_notes(end_abandoned(journal))
        passes = [text.with_numbers(journal, kept) for kept in journal.passes()]
        if args.json:
            for kept in passes:
                made = text.pass_object(kept, is_heard=journal.is_still_heard(kept))
                _say(json.dumps(made, allow_nan=False))
        else:
            _say(text.list_text(journal, passes, shows_all=args.all))
    return 0


def run_show(args: argparse.Namespace) -> int:
    """Show one pass."""
    from meter.check_command import target_named
    from meter.journal import text
    from meter.journal.closing import end_abandoned
    from meter.journal.store import read_journal

    target = target_named(args.target)
    with read_journal() as journal:
        _say_notes(journal.notes)
        _say_notes(end_abandoned(journal))
        kept = journal.kept_pass(args.number)
        if args.json:
            _say(json.dumps(text.summary_object(journal, kept, target), allow_nan=False))
        else:
            _say(text.pass_text(journal, kept, target))
    return 0


def run_forget(args: argparse.Namespace) -> int:
    """Take passes out of the list."""
    from meter.journal.store import open_journal

    with open_journal() as journal:
        _say_notes(journal.notes)
        if args.for_good:
            journal.delete_for_good(args.numbers)
            _say(f"gone for good: {_numbers(args.numbers)}")
            return 0
        journal.delete(args.numbers)
    _say(f"forgotten: {_numbers(args.numbers)}; for 7 days `leadline journal undo` brings it back")
    return 0


def run_undo(args: argparse.Namespace) -> int:
    """Bring back what was forgotten last."""
    from meter.journal.store import open_journal

    with open_journal() as journal:
        _say_notes(journal.notes)
        back = journal.undo()
    _say(f"back in the journal: {_numbers(back)}" if back else "there is nothing to bring back")
    return 0


def run_detail(args: argparse.Namespace) -> int:
    """Say, or choose, how long passes are kept fine."""
    from meter.errors import UsageError
    from meter.journal import coarser
    from meter.journal.closing import make_older_coarser
    from meter.journal.store import open_journal, read_journal

    if args.days is None:
        with read_journal() as journal:
            days = coarser.fine_days(journal)
        _say(_detail_text(days))
        return 0
    if args.days != "forever" and not args.days.isdecimal():
        raise UsageError(f"{args.days} came; expected a number of days such as 90, or the word forever")
    with open_journal() as journal:
        _say_notes(journal.notes)
        coarser.choose_fine_days(journal, None if args.days == "forever" else int(args.days))
        made = make_older_coarser(journal)
        _say(_detail_text(coarser.fine_days(journal)))
    if made:
        _say(f"made coarser now: {made} pass{'es' * (made > 1)}")
    return 0


def _detail_text(days: int | None) -> str:
    if days is None:
        return "every pass keeps its ten rows a second for good"
    return (
        f"a pass keeps ten rows a second for {days} days, then one a second, a tenth of the room; its "
        "numbers and findings stay as they were measured"
    )


def run_export(args: argparse.Namespace) -> int:
    """Write every sounding of a pass."""
    from meter.journal import text
    from meter.journal.replay import live_pass_of
    from meter.journal.store import read_journal

    with read_journal() as journal:
        _say_notes(journal.notes)
        kept = journal.kept_pass(args.number)
        live_pass = live_pass_of(journal, kept)
    if args.csv:
        _say(text.csv_text(live_pass, a_second=kept.rows_a_second).rstrip("\n"))
    else:
        for made in text.sounding_objects(live_pass, a_second=kept.rows_a_second):
            _say(json.dumps(made, allow_nan=False))
    return 0


def run_keep(args: argparse.Namespace) -> int:
    """Put a pass on the shelf."""
    from meter.journal.store import open_journal
    from meter.shelf import measure, store

    with open_journal() as journal:
        _say_notes(journal.notes)
        made = measure.of_pass(journal, journal.kept_pass(args.number), name=args.name)
        kept_as = store.add(journal, made)
    _say(f"kept as {kept_as!r}; it has no spectrum, as no audio of it was kept")
    return 0


def run_compare(args: argparse.Namespace) -> int:
    """Compare a pass with the shelf."""
    from meter.journal.store import read_journal
    from meter.shelf import measure, store, text
    from meter.shelf.compare import compare

    with read_journal() as journal:
        _say_notes(journal.notes)
        one = measure.of_pass(journal, journal.kept_pass(args.number))
        found = compare(one, store.chosen(journal, args.names))
    if args.json:
        _say(json.dumps(text.comparison_object(found), allow_nan=False))
    else:
        _say(text.comparison_text(found))
    return 0


def _numbers(numbers: Sequence[int]) -> str:
    return f"pass{'es' * (len(numbers) > 1)} {', '.join(str(number) for number in numbers)}"


def _say(text: str) -> None:
    from meter.console import say

    say(text, sys.stdout)


def _say_notes(notes: Sequence[str]) -> None:
    from meter.console import say

    for note in notes:
        say(note, sys.stderr)
