"""`leadline report PASS --to FILE`: a pass, a set or a checked file told on one page."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Final

from meter.check_command import target_named
from meter.console import ProgressLine, say
from meter.delivery.arguments import delivery_from
from meter.errors import OutputError, UsageError
from meter.report import page, tables
from meter.report.material import Material, material_of

FORMS: Final[dict[str, Callable[[Material], str]]] = {
    ".html": page.page,
    ".json": tables.as_json,
    ".csv": tables.as_csv,
}
_MARKS: Final = (page.MARK, f'"type": "{tables.TYPE}"', ",".join(tables.COLUMNS))
_HEAD_BYTES: Final = 2000


def run(args: argparse.Namespace) -> int:
    """Write the report; 0.

    Raises
    ------
    MeterError
        Arguments that cannot be meant, a pass or file that cannot be read, a place that cannot be written.
    """
    to = Path(args.to)
    write = FORMS.get(to.suffix.lower())
    if write is None:
        raise UsageError(
            f"--to {args.to} came; expected a name that ends in {', '.join(FORMS)}, such as --to report.html"
        )
    if not args.force:
        _look_at(to)
    delivery = delivery_from(args)
    line = ProgressLine(sys.stderr)

    def progress(done_s: float, whole_s: float | None, doing: str = "", /) -> None:
        if doing:
            line.show_share(doing, done_s / whole_s if whole_s else 0.0, args.what)
        else:
            line.show(args.what, done_s, whole_s)

    try:
        material = material_of(
            args.what, target=target_named(args.target), delivery=delivery, progress=progress
        )
    finally:
        line.clear()
    _write(to, write(material))
    say(f"{to}: {material.title}, {material.source}", sys.stdout)
    return 0


def _look_at(to: Path) -> None:
    """Refuse to write over what is no report."""
    if not to.exists():
        return
    try:
        with to.open("rb") as file:
            head = file.read(_HEAD_BYTES).decode("utf-8", "replace")
    except OSError as error:
        raise OutputError(f"{to} cannot be written ({error.strerror}); name another place") from error
    if not any(mark in head for mark in _MARKS):
        raise UsageError(f"{to} is there and no report; name another file, or write over it with --force")


def _write(to: Path, text: str) -> None:
    """Whole or not at all."""
    new = to.with_name(f".{to.name}.new")
    try:
        new.write_text(text, "utf-8")
        os.replace(new, to)
    except OSError as error:
        new.unlink(missing_ok=True)
        raise OutputError(f"{to} cannot be written ({error.strerror}); name another place") from error
