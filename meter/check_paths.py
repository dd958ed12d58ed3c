"""Which files are meant by the paths that a user gives: files, patterns, and folders with all in them."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from glob import glob
from pathlib import Path
from typing import Final

from meter.av_kinds import SUFFIXES

_MARKS_OF_A_PATTERN: Final = "*?"


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """The files, in order, and the sentences on what was left out."""

    names: tuple[str, ...]
    notes: tuple[str, ...] = ()
    from_folder: bool = False


def find_files(paths: Sequence[str]) -> Found:
    """The files that are meant, each folder's sorted by name.

    A file that is named is taken whatever it is; from folders, and the folders in them, only what
    its name says is sound, and nothing hidden. Links to folders are not followed.
    """
    names: list[str] = []
    notes: list[str] = []
    folders = False
    for path in _expanded(paths):
        if not os.path.isdir(path):
            names.append(path)
            continue
        folders = True
        found, hidden, others, closed = _in_folder(path)
        names += found
        notes += _left_out(path, found, hidden, others, closed)
    return Found(names=tuple(names), notes=tuple(notes), from_folder=folders)


def _in_folder(folder: str) -> tuple[list[str], int, int, list[str]]:
    found: list[str] = []
    closed: list[str] = []
    hidden = others = 0
    walk = os.walk(folder, onerror=lambda error: closed.append(str(error.filename)))
    for place, inner, files in walk:
        hidden += sum(name.startswith(".") for name in inner)
        inner[:] = sorted(name for name in inner if not name.startswith("."))
        for name in sorted(files):
            if name.startswith("."):
                hidden += 1
            elif Path(name).suffix.lower().removeprefix(".") in SUFFIXES:
                found.append(os.path.join(place, name))
            else:
                others += 1
    return sorted(found, key=_order), hidden, others, closed


def _order(path: str) -> tuple[str, ...]:
    return Path(path).parts


def _left_out(folder: str, found: list[str], hidden: int, others: int, closed: list[str]) -> list[str]:
    notes = [f"{place}: this folder cannot be read and was left out" for place in closed]
    if not found:
        notes.append(f"{folder}: there is no audio file in this folder")
    parts = [f"{others} that are no audio"] * (others > 0) + [f"{hidden} hidden"] * (hidden > 0)
    if parts:
        notes.append(f"{folder}: left out {' and '.join(parts)}")
    return notes


def _expanded(paths: Sequence[str]) -> list[str]:
    """Patterns that no shell has replaced by names, as on Windows, replaced here."""
    found = []
    for path in paths:
        is_pattern = any(mark in path for mark in _MARKS_OF_A_PATTERN) and not os.path.lexists(path)
        found += sorted(glob(path)) if is_pattern and glob(path) else [path]
    return found
