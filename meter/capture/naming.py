"""Finding a device by what the user typed: its name, or enough of it."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from typing import Final

from meter.capture.opening import LIST_THEM
from meter.errors import SourceError

NEAR_ENOUGH: Final = 0.5
"""Of `difflib`'s similarity; below it a suggestion is a guess."""


def find(typed: str, names: Mapping[str, Sequence[str]]) -> str:
    """The one device that is meant.

    Parameters
    ----------
    typed : str
        A whole name in upper or lower case, or a part of only one.
    names : mapping of str to sequence of str
        A key for each device, and the names that it is known by; the first is the one for people.

    Raises
    ------
    SourceError
        None or several are meant: which ones, or which is nearest.
    """
    wanted = typed.casefold()
    exactly = [key for key, known in names.items() if typed in (key, *known)]
    in_any_case = [key for key, known in names.items() if wanted in (name.casefold() for name in known)]
    in_part = [key for key, known in names.items() if wanted and wanted in known[0].casefold()]
    for meant in (exactly, in_any_case, in_part):
        if len(meant) == 1:
            return meant[0]
        if meant:
            raise SourceError(_ambiguous(typed, [(key, names[key][0]) for key in meant]))
    raise SourceError(_unknown(typed, names))


def spec_names(names: Mapping[str, str]) -> dict[str, str]:
    """How each device is written: by its name for people, or by its key where two share that name."""
    shared = {title for title in names.values() if list(names.values()).count(title) > 1}
    return {key: key if title in shared else title for key, title in names.items()}


def _ambiguous(typed: str, meant: Sequence[tuple[str, str]]) -> str:
    titles = [title for _, title in meant]
    shown = [key for key, _ in meant] if len(set(titles)) < len(titles) else titles
    return f'"{typed}" may be any of ' + ", ".join(f'"{name}"' for name in shown) + "; give the whole name"


def _unknown(typed: str, names: Mapping[str, Sequence[str]]) -> str:
    if not names:
        return f'there is no device "{typed}", nor any other input; plug one in and switch it on'
    by_folded: dict[str, str] = {}
    for known in names.values():
        for name in known:
            by_folded.setdefault(name.casefold(), name)
    near = difflib.get_close_matches(typed.casefold(), by_folded, n=1, cutoff=NEAR_ENOUGH)
    if near:
        return f'there is no device "{typed}"; did you mean "{by_folded[near[0]]}"? {LIST_THEM}'
    return f'there is no device "{typed}"; {LIST_THEM}'
