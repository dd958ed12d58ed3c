"""Checked files as a table for a spreadsheet: a row each, columns named as the keys of the JSON.

Keys within keys stand behind a dot ("fold_loss_db.20-60"), lists and reasons are JSON in one cell, and
what cannot be given is empty. The file appears under its name only when it is whole.
"""

from __future__ import annotations

import csv
import io
import json
import os
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

from meter.check import Failed, Result
from meter.check_json import error_object, file_object
from meter.check_table import median_loudest_lufs, trim_db
from meter.console import say
from meter.errors import OutputError

TRIM: Final = "trim_to_median_db"
"""Not in the JSON, for it is known only when all files are."""

_AS_JSON: Final = frozenset({"why_null"})
_LAST: Final = ("message",)


class CsvFile:
    """A file that is to be written at the end of a run.

    Opened before it, so that what cannot be written is known before hours of measuring.

    Raises
    ------
    OutputError
        It cannot be written there.
    """

    def __init__(self, path: str) -> None:
        self._path = Path(path)
        if self._path.is_dir():
            raise OutputError(f"{path}: the table cannot be written there, this is a folder; name a file")
        try:
            handle, self._temporary = tempfile.mkstemp(
                prefix=f".{self._path.name}.", suffix=".part", dir=self._path.parent
            )
        except (OSError, ValueError) as error:
            raise self._problem(error) from error
        os.close(handle)

    def write(self, results: Sequence[Result]) -> None:
        """Write all rows and give the file its name; once.

        Raises
        ------
        OutputError
            It cannot be written, for example because the disk is full.
        """
        try:
            with open(self._temporary, "w", encoding="utf-8", errors="backslashreplace", newline="") as file:
                write_rows(file, results)
                file.flush()
                os.fsync(file.fileno())
            os.chmod(self._temporary, 0o666 & ~_umask())
            os.replace(self._temporary, self._path)
        except OSError as error:
            self.discard()
            raise self._problem(error) from error

    def discard(self) -> None:
        """Leave nothing behind; after `write` it does nothing."""
        Path(self._temporary).unlink(missing_ok=True)

    def _problem(self, error: Exception) -> OutputError:
        why = getattr(error, "strerror", None) or str(error)
        return OutputError(
            f"{self._path}: the table cannot be written there ({why}); choose another place with --csv"
        )


class CsvOut:
    """The same on standard output, where nothing else is printed then."""

    def write(self, results: Sequence[Result]) -> None:
        """Write all rows; who reads may go before the last.

        Paths that are no text are escaped, as in a file.
        """
        text = io.StringIO()
        write_rows(text, results)
        encoded = text.getvalue().encode("utf-8", "backslashreplace").decode("utf-8")
        say(encoded.removesuffix("\n"), sys.stdout)

    def discard(self) -> None:
        """Nothing was begun."""


def write_rows(file: Any, results: Sequence[Result]) -> None:
    """Heading and rows into an open text file."""
    rows = _rows(results)
    columns = list(dict.fromkeys(key for row in rows for key in row if key not in _LAST))
    writer = csv.DictWriter(file, [*columns, *_LAST], restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)


def _rows(results: Sequence[Result]) -> list[dict[str, Any]]:
    median_lufs = median_loudest_lufs(results)
    # Files before errors, so that the columns come in the order of the design.
    made = [
        error_object(result)
        if isinstance(result, Failed)
        else {**file_object(result), TRIM: trim_db(result, median_lufs)}
        for result in results
    ]
    return [_flat(one) for one in made]


def _flat(made: dict[str, Any]) -> dict[str, Any]:
    row: dict[str, Any] = {}
    for key, value in made.items():
        if isinstance(value, dict) and key not in _AS_JSON:
            row |= {f"{key}.{inner}": _cell(one) for inner, one in value.items()}
        else:
            row[key] = _cell(value)
    return row


def _cell(value: Any) -> Any:
    if isinstance(value, (dict, list)):
        return json.dumps(value) if value else ""
    if isinstance(value, bool):
        return "true" if value else "false"
    return "" if value is None else value


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
