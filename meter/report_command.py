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
from meter.report.picture import Draw, picture_of

FORMS: Final[dict[str, Callable[[Material], str]]] = {
    ".html": page.page,
    ".json": tables.as_json,
    ".csv": tables.as_csv,
}
PICTURE: Final = ".png"
_MARKS: Final = (page.MARK, f'"type": "{tables.TYPE}"', ",".join(tables.COLUMNS))
_PICTURE_SIGNATURE, _PICTURE_MARK = b"\x89PNG", b"Leadline report"
_HEAD_BYTES: Final = 2000


def run(args: argparse.Namespace) -> int:
    """Write the report; 0.

    Raises
    ------
    MeterError
        Arguments that cannot be meant, a pass or file that cannot be read, a place that cannot be written.
    """
    to = Path(args.to)
    write = _writer(args.to, args.draw)
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


def _writer(to: str, draw: Draw | None) -> Callable[[Material], bytes]:
    """What makes a file of this name."""
    ending = Path(to).suffix.lower()
    if ending == PICTURE:
        if draw is None:
            raise UsageError(
                f"--to {to} came, but this way of starting draws no pictures; start it with leadline, or "
                "write a page: --to report.html"
            )
        return lambda material: draw(picture_of(material))
    write = FORMS.get(ending)
    if write is None:
        names = ", ".join([*FORMS, PICTURE])
        raise UsageError(f"--to {to} came; expected a name that ends in {names}, such as --to report.html")
    return lambda material: write(material).encode()


def _look_at(to: Path) -> None:
    """Refuse to write over what is no report."""
    if not to.exists():
        return
    try:
        with to.open("rb") as file:
            head = file.read(_HEAD_BYTES)
    except OSError as error:
        raise OutputError(f"{to} cannot be written ({error.strerror}); name another place") from error
    text = head.decode("utf-8", "replace")
    is_picture = head.startswith(_PICTURE_SIGNATURE) and _PICTURE_MARK in head
    if not is_picture and not any(mark in text for mark in _MARKS):
        raise UsageError(f"{to} is there and no report; name another file, or write over it with --force")


def _write(to: Path, data: bytes) -> None:
    """Whole or not at all."""
    new = to.with_name(f".{to.name}.new")
    try:
        new.write_bytes(data)
        os.replace(new, to)
    except OSError as error:
        new.unlink(missing_ok=True)
        raise OutputError(f"{to} cannot be written ({error.strerror}); name another place") from error
