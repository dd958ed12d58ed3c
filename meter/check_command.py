"""`leadline check` from its arguments to its exit status."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from contextlib import closing

from meter import check_json, check_table, check_text
from meter.check import Checked, Failed, Options, Result
from meter.check_csv import CsvFile, CsvOut
from meter.check_paths import find_files
from meter.check_run import RunProgress, check_all
from meter.console import ProgressLine, say, terminal_columns, text_width
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


def run(
    paths: Sequence[str],
    options: Options,
    *,
    strict: bool = False,
    as_json: bool = False,
    csv_path: str | None = None,
    workers: int | None = None,
) -> int:
    """Check the files and print what was found: JSON as it comes, text when all is there.

    Ctrl-C prints what is done and goes on as such.

    Parameters
    ----------
    paths : sequence of str
        Files, patterns and folders.
    options : Options
    strict, as_json : bool
    csv_path : str, optional
        Where to write a table, one row a file; "-" for standard output, in place of the text.
    workers : int, optional
        See `check_all`.

    Returns
    -------
    int
        0 done, 1 with `strict` when a file is not inside its target, 2 when one could not be read.

    Raises
    ------
    UsageError
        When `strict` is asked for without a target, a folder has no audio file, or two forms of output
        are to go to standard output.
    OutputError
        The table cannot be written.
    """
    if strict and options.target is None:
        raise UsageError("--strict needs something to be strict about: name a target with --target")
    to_output = csv_path == "-"
    if to_output and as_json:
        raise UsageError("--json and --csv - both go to standard output; name a file for the table")
    found = find_files(paths)
    for note in found.notes:
        say(note, sys.stderr)
    if not found.names:
        raise UsageError(f"no audio file in {', '.join(paths)}; name files, or a folder that has some")
    csv = None if csv_path is None else CsvOut() if to_output else CsvFile(csv_path)
    results: list[Result] = []
    try:
        _check(found.names, options, results, as_json=as_json, workers=workers)
    finally:
        # Also after Ctrl-C: what is done is worth having.
        try:
            if not as_json and not to_output:
                _print_text(results, len(found.names), options)
        finally:
            if csv is not None:
                if results:
                    csv.write(results)
                csv.discard()
    return _status(results, strict)


def _check(
    names: Sequence[str], options: Options, results: list[Result], *, as_json: bool, workers: int | None
) -> None:
    line = ProgressLine(sys.stderr)

    def progress(run: RunProgress) -> None:
        if run.files == 1 and run.doing:
            line.show_share(run.doing, run.done_s / run.whole_s if run.whole_s else 0.0, run.name)
        elif run.files == 1:
            line.show(run.name, run.done_s, run.whole_s)
        else:
            line.show_share(f"{run.files_done} of {run.files} files", run.share, run.name)

    with closing(check_all(names, options, workers=workers, progress=progress)) as checking:
        try:
            for result in checking:
                results.append(result)
                line.clear()
                if as_json:
                    _print_json(result)
                elif isinstance(result, Failed):
                    say(check_text.problem(result), sys.stderr)
        finally:
            line.clear()


def _print_text(results: Sequence[Result], wanted: int, options: Options) -> None:
    checked = [result for result in results if isinstance(result, Checked)]
    if len(checked) == 1:
        say(check_text.block(checked[0], width=text_width(sys.stdout)), sys.stdout)
    elif checked:
        say(check_table.table(results, columns=terminal_columns(sys.stdout)), sys.stdout)
        if options.encodes:
            from meter.delivery.words import crate_lines

            tried = list(crate_lines(checked))
            if tried:
                say("\n" + "\n".join(tried), sys.stdout)
        if options.playback:
            from meter.delivery.playback import album_lines

            album = list(album_lines(checked))
            if album:
                say("\n" + "\n".join(album), sys.stdout)
    if results and wanted > 1:
        left = f"stopped: {len(results)} of {wanted} files were done.\n" if len(results) < wanted else ""
        say("\n" + left + check_text.closing(results, options.target), sys.stdout)


def _status(results: Sequence[Result], strict: bool) -> int:
    if any(isinstance(result, Failed) for result in results):
        return UNUSABLE
    missed = any(isinstance(result, Checked) and not result.is_inside for result in results)
    return MISSED if strict and missed else DONE


def _print_json(result: Result) -> None:
    if isinstance(result, Failed):
        say(check_json.as_line(check_json.error_object(result)), sys.stdout)
        return
    say(check_json.as_line(check_json.file_object(result)), sys.stdout)
    for note in result.notes:
        say(f"{result.name}: {note}", sys.stderr)
