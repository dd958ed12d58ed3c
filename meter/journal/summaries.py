"""The numbers of a pass as text and back, every float as it was.

They do not change when the rows of a pass are made coarser.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import asdict, fields, replace
from typing import Any, Final

from meter.soundings import Gap, Summary

_FIELDS: Final = {one.name for one in fields(Summary)}
_TUPLES: Final = {"true_peaks_dbtp", "dc_offset"}


def to_text(summary: Summary) -> str:
    """As JSON; silence, -inf, is written as a word."""
    return json.dumps(_plain(asdict(summary)), allow_nan=False)


def from_text(text: str, *, again: Callable[[], Summary]) -> Summary:
    """The numbers again.

    Parameters
    ----------
    text : str
        From `to_text`, of this program or an older or newer one.
    again : callable
        Works them out from the soundings: what the text does not know is taken from there.
    """
    known: dict[str, Any] = {key: value for key, value in _back(json.loads(text)).items() if key in _FIELDS}
    for key in _TUPLES & set(known):
        known[key] = tuple(known[key])
    if "gaps" in known:
        known["gaps"] = tuple(Gap(**gap) for gap in known["gaps"])
    return Summary(**known) if set(known) == _FIELDS else replace(again(), **known)


def _plain(value: Any) -> Any:
    if isinstance(value, float) and not math.isfinite(value):
        return f"{value:+}"
    if isinstance(value, dict):
        return {key: _plain(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(one) for one in value]
    return value


def _back(value: Any) -> Any:
    if value in ("-inf", "+inf"):
        return float(value)
    if isinstance(value, dict):
        return {key: _back(one) for key, one in value.items()}
    if isinstance(value, list):
        return [_back(one) for one in value]
    return value
