"""Targets as text: the TOML of the shipped ones and of the user's own.

A file is validated whole: every problem is named at once, each with its line and, for an
unknown key, the nearest valid one. Files are only ever read here, never written.
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Any, Final

from meter.errors import SettingsError, UsageError
from meter.target_reader import SCHEMA, Problem, TargetReader, nearest
from meter.targets import MEASURES, Limit, Target
from meter.toml_lines import key_lines

MOST_BROKEN_LINES: Final = 20
"""After so many the reader stops: this was never a targets file."""

MOST_BYTES: Final = 1_000_000
"""A larger file is no targets file."""

_ASSIGNMENT: Final = re.compile(r"""\s*[\w."' -]+=""")
_SYNTAX_LINE: Final = re.compile(r" \(at line (\d+), column \d+\)$")


@dataclass(frozen=True, slots=True, kw_only=True)
class Loaded:
    """The targets there are, by name, and what was wrong with the user's file, if anything."""

    targets: Mapping[str, Target]
    problem: str | None = None


def shipped_targets() -> dict[str, Target]:
    """The targets that come with the program."""
    file = resources.files("meter") / "data" / "targets.toml"
    return parse_targets(file.read_text("utf-8"), place="the targets of the program")


def load_targets(file: Path) -> Loaded:
    """The shipped targets and the user's own, which take the place of shipped ones of that name.

    A file with problems leaves the shipped ones alone in use; the problems come as text.

    Parameters
    ----------
    file : Path
        The user's file; it need not exist.
    """
    targets = shipped_targets()
    try:
        data = file.read_bytes()
    except FileNotFoundError:
        return Loaded(targets=targets)
    except OSError as error:
        return Loaded(targets=targets, problem=f"{file}: cannot be read ({error.strerror})")
    try:
        own = parse_targets(_text(data, str(file)), place=str(file))
    except SettingsError as error:
        return Loaded(targets=targets, problem=str(error))
    return Loaded(targets={**targets, **own})


def find_target(name: str, targets: Mapping[str, Target]) -> Target:
    """The target of that name; `UsageError` with the nearest name when there is none."""
    for known, target in targets.items():
        if known.lower() == name.lower():
            return target
    raise UsageError(f"there is no target {name!r}{nearest(name, targets)}; there are: {', '.join(targets)}")


def parse_targets(text: str, *, place: str) -> dict[str, Target]:
    """Targets from TOML.

    Parameters
    ----------
    text : str
        The file.
    place : str
        What to call it in the message.

    Raises
    ------
    SettingsError
        Every problem of the file, one a line, each with its line number.
    """
    document, problems = _syntax(text)
    if document is not None:
        reader = TargetReader(key_lines(document[0]), broken_lines=[line for line, _ in problems])
        targets = reader.targets(document[1])
        problems += reader.problems
    if not problems:
        return targets
    said = [f"line {line}: {what}" for line, what in sorted(problems)]
    head = "1 problem" if len(said) == 1 else f"{len(said)} problems"
    raise SettingsError("\n  ".join([f"{place} is not used, it has {head}:", *said]))


def targets_as_toml(targets: Iterable[Target]) -> str:
    """Text from which `parse_targets` makes the same targets again."""
    parts = [f"schema = {SCHEMA}\n"]
    for target in targets:
        parts.append(f"\n[{target.name}]\n")
        parts.append(f"title = {_quoted(target.title)}\nsource = {_quoted(target.source)}\n")
        parts += _limits_as_toml(target.limits)
        if target.live_limits:
            parts.append(f"\n[{target.name}.live]\n")
            parts += _limits_as_toml(target.live_limits)
    return "".join(parts)


def _text(data: bytes, place: str) -> str:
    if len(data) > MOST_BYTES:
        raise SettingsError(f"{place} is not used, it is larger than a targets file can be (1 MB)")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise SettingsError(
            f"{place} is not used, it has 1 problem:\n  line {line}: this is no UTF-8 text; save it as UTF-8"
        ) from error


def _syntax(text: str) -> tuple[tuple[str, dict[str, Any]] | None, list[Problem]]:
    """The parsed text, and what is no TOML in it.

    A broken ``key = value`` line is blanked, and the rest is read on, so that one slip does
    not hide the others. Any other broken line ends the reading: after it nothing is certain.
    """
    problems: list[Problem] = []
    lines = text.replace("\r\n", "\n").split("\n")
    while True:
        text = "\n".join(lines)
        try:
            return (text, tomllib.loads(text)), problems
        except RecursionError:
            return None, [*problems, (1, "this is nested deeper than any targets file")]
        except ValueError as error:  # also a number of thousands of digits
            found = _SYNTAX_LINE.search(str(error))
            line = int(found[1]) if found else _line_without_place(lines, error)
            what = _SYNTAX_LINE.sub("", str(error)).replace(" (at end of document)", "")
            problems.append((line, f"this is no TOML: {what[:1].lower()}{what[1:]}"))
            if len(problems) == MOST_BROKEN_LINES or not _ASSIGNMENT.match(lines[line - 1]):
                return None, problems
            lines[line - 1] = ""


def _quoted(words: str) -> str:
    # JSON's escapes are among those of a TOML string; control characters never come here.
    return json.dumps(words, ensure_ascii=False)


def _line_without_place(lines: list[str], error: ValueError) -> int:
    """Where an error lies that does not say so: at the end, or in a line with an endless number."""
    if isinstance(error, tomllib.TOMLDecodeError):
        return max(number for number, line in enumerate(lines, 1) if line.strip() or number == 1)
    return max(range(len(lines)), key=lambda at: len(lines[at])) + 1


def _limits_as_toml(limits: Mapping[str, Limit]) -> list[str]:
    """A line for each limit, always in the same order."""
    lines = []
    for key in (key for key in MEASURES if key in limits):
        ends = [("min", limits[key].min), ("max", limits[key].max)]
        inner = ", ".join(f"{name} = {end!r}" for name, end in ends if end is not None)
        lines.append(f"{key} = {{ {inner} }}\n")
    return lines
