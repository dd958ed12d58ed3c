"""`leadline check` from its arguments to its exit status."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from functools import partial
from glob import glob
from pathlib import Path

from meter import check_json, check_text
from meter.check import Checked, Failed, Options, Progress, check_files
from meter.console import ProgressLine, say
from meter.errors import UsageError
from meter.settings import TARGETS_FILE, folders
from meter.target_file import find_target, load_targets
from meter.targets import Target

DONE = 0
MISSED = 1
UNUSABLE = 2


def target_named(name: str | None) -> Target | None:
    """The target that was asked for; problems of the user's file go to standard error.

    Raises
    ------
    UsageError
        There is no such target.
    SettingsError
        The settings folder is none.
    """
    if name is None:
        return None
    loaded = load_targets(folders().settings / TARGETS_FILE)
    if loaded.problem is not None:
        say(loaded.problem, sys.stderr)
    return find_target(name, loaded.targets)


def run(names: Sequence[str], options: Options, *, strict: bool = False, as_json: bool = False) -> int:
    """Check the files and print what was found, each as soon as it is there.

    Returns
    -------
    int
        0 done, 1 with `strict` when a file is not inside its target, 2 when one could not be read.

    Raises
    ------
    UsageError
        When `strict` is asked for without a target.
    """
    if strict and options.target is None:
        raise UsageError("--strict needs something to be strict about: name a target with --target")
    line = ProgressLine(sys.stderr)

    def progress(name: str) -> Progress:
        return partial(line.show, name)

    results: list[Checked | Failed] = []
    try:
        for result in check_files(_expanded(names), options, progress=progress):
            line.clear()
            (_print_json if as_json else _print_text)(result, is_first=not results)
            results.append(result)
    finally:
        line.clear()
    if len(results) > 1 and not as_json:
        say("\n" + check_text.closing(results, options.target), sys.stdout)
    return _status(results, strict)


def _status(results: Sequence[Checked | Failed], strict: bool) -> int:
    if any(isinstance(result, Failed) for result in results):
        return UNUSABLE
    missed = any(isinstance(result, Checked) and not result.is_inside for result in results)
    return MISSED if strict and missed else DONE


def _print_text(result: Checked | Failed, *, is_first: bool) -> None:
    if isinstance(result, Failed):
        say(check_text.problem(result), sys.stderr)
    else:
        say(("" if is_first else "\n") + check_text.block(result), sys.stdout)


def _print_json(result: Checked | Failed, *, is_first: bool) -> None:
    if isinstance(result, Failed):
        say(check_json.as_line(check_json.error_object(result)), sys.stdout)
        return
    say(check_json.as_line(check_json.file_object(result)), sys.stdout)
    for note in result.notes:
        say(f"{result.name}: {note}", sys.stderr)


def _expanded(names: Sequence[str]) -> list[str]:
    """Patterns that no shell has replaced by names, as on Windows, replaced here."""
    found = []
    for name in names:
        is_pattern = any(mark in name for mark in "*?") and not Path(name).exists()
        found += sorted(glob(name)) if is_pattern and glob(name) else [name]
    return found
