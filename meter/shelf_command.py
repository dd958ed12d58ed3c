"""`leadline shelf`: references, kept and compared with."""

from __future__ import annotations

import argparse
import json
import sys
from functools import partial
from typing import Any, Final

from meter.errors import MeterError, UsageError

EPILOG: Final = """\
examples:
  leadline shelf add ~/records/*.flac        keep these as references
  leadline shelf add tune.wav --name "my last one"
  leadline shelf list                        what is on the shelf; the same without `list`
  leadline shelf compare new.wav             against all of it, equally loud
  leadline shelf compare new.wav --with "my last one"
  leadline shelf remove "my last one"        and `leadline shelf undo` brings it back

Kept are numbers and the spectrum of the loudest 30 s, never audio. A pass that was heard live is put
there with `leadline journal keep N`. What was taken away can be brought back for 7 days.

exit status: 0 done, 2 unusable arguments or a file that cannot be read; one bad file never stops the rest.
"""


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add `shelf` to the commands."""
    shelf = commands.add_parser(
        "shelf",
        help="records to compare with, equally loud",
        description="Keep records as references, and compare with them at equal loudness.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    shelf.add_argument("--json", action="store_true", help="one JSON object a line")
    shelf.set_defaults(run=run_list)
    actions = shelf.add_subparsers(title="what to do; without it the shelf is listed", metavar="ACTION")

    def action(name: str, text: str, run: Any) -> argparse.ArgumentParser:
        made = actions.add_parser(name, help=text, description=text, allow_abbrev=False)
        made.set_defaults(run=run)
        return made

    listing = action("list", "what is on the shelf", run_list)
    listing.add_argument(
        "--json", action="store_true", default=argparse.SUPPRESS, help="one JSON object a line"
    )
    add = action("add", "measure files and keep them as references", run_add)
    add.add_argument("files", nargs="+", metavar="FILE", help="audio files")
    add.add_argument("--name", metavar="NAME", help="what to call it; the name of the file unless set")
    remove = action("remove", "take references away", run_remove)
    remove.add_argument("names", nargs="+", metavar="NAME")
    action("undo", "bring back what was taken away last", run_undo)
    compare = action("compare", "compare a file with the shelf, equally loud", run_compare)
    compare.add_argument("file", metavar="FILE")
    some = "only these; all of them unless set"
    compare.add_argument("--with", dest="names", nargs="+", default=[], metavar="NAME", help=some)
    compare.add_argument("--json", action="store_true", default=argparse.SUPPRESS, help="one JSON object")


def run_list(args: argparse.Namespace) -> int:
    """List the shelf."""
    from meter.console import say
    from meter.journal.store import read_journal
    from meter.shelf import store, text

    with read_journal() as journal:
        _say_notes(journal.notes)
        items = store.items(journal)
    if args.json:
        for item in items:
            _print(text.reference_object(item))
    else:
        say(text.shelf_text(items), sys.stdout)
    return 0


def run_add(args: argparse.Namespace) -> int:
    """Measure files and keep them."""
    from meter.console import ProgressLine, say
    from meter.journal.store import open_journal
    from meter.shelf import measure, store

    if args.name is not None and len(args.files) > 1:
        raise UsageError(f"--name came with {len(args.files)} files; name one file at a time")
    line, failed = ProgressLine(sys.stderr), False
    with open_journal() as journal:
        _say_notes(journal.notes)
        for name in args.files:
            try:
                made = measure.of_file(name, name=args.name, progress=partial(line.show, name))
                kept_as = store.add(journal, made)
            except MeterError as error:
                line.clear()
                say(f"error: {error}", sys.stderr)
                failed = True
                continue
            line.clear()
            say(f"kept as {kept_as!r}", sys.stdout)
        say(f"{len(store.items(journal))} on the shelf", sys.stdout)
    return 2 if failed else 0


def run_remove(args: argparse.Namespace) -> int:
    """Take references away."""
    from meter.console import say
    from meter.journal.store import open_journal
    from meter.shelf import store

    with open_journal() as journal:
        _say_notes(journal.notes)
        store.remove(journal, args.names)
    say("taken away; `leadline shelf undo` brings it back for 7 days", sys.stdout)
    return 0


def run_undo(args: argparse.Namespace) -> int:
    """Bring back what was taken away last."""
    from meter.console import say
    from meter.journal.store import open_journal
    from meter.shelf import store

    with open_journal() as journal:
        _say_notes(journal.notes)
        names = store.undo(journal)
    say(f"back on the shelf: {', '.join(names)}" if names else "there is nothing to bring back", sys.stdout)
    return 0


def run_compare(args: argparse.Namespace) -> int:
    """Compare a file with the shelf."""
    from meter.console import ProgressLine, say
    from meter.journal.store import read_journal
    from meter.shelf import measure, store, text
    from meter.shelf.compare import compare, nothing_to_compare_with

    with read_journal() as journal:
        _say_notes(journal.notes)
        references = store.chosen(journal, args.names)
    if not references:
        raise nothing_to_compare_with()
    line = ProgressLine(sys.stderr)
    try:
        one = measure.of_file(args.file, name=args.file, progress=partial(line.show, args.file))
    finally:
        line.clear()
    found = compare(one, references)
    if args.json:
        _print(text.comparison_object(found))
    else:
        say(text.comparison_text(found), sys.stdout)
    return 0


def _print(made: dict[str, Any]) -> None:
    from meter.console import say

    say(json.dumps(made, allow_nan=False), sys.stdout)


def _say_notes(notes: list[str]) -> None:
    from meter.console import say

    for note in notes:
        say(note, sys.stderr)
