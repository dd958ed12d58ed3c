"""Makes targets of a parsed TOML document, and names everything that is wrong with it.

Used by `meter.target_file`, which knows about files and text.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final

from meter.soundings import BANDS
from meter.targets import MEASURES, Limit, Measure, Target
from meter.toml_lines import KeyPath

SCHEMA: Final = 1

BAND_TABLE: Final = "fold_loss_db"
"""Its limits stand one level deeper, one for each band."""

TARGET_KEYS: Final = (
    "title",
    "source",
    "live",
    *dict.fromkeys(key.partition(".")[0] for key in MEASURES),
)

_NAME: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,39}")

Problem = tuple[int, str]
"""Line and what is wrong there."""


class TargetReader:
    """Makes targets of a parsed document and collects every problem on the way.

    Parameters
    ----------
    lines : mapping
        Line of each key.
    broken_lines : sequence of int
        Lines that are no TOML and so are missing here; each may have held a limit.
    """

    def __init__(self, lines: Mapping[KeyPath, int], *, broken_lines: Sequence[int] = ()) -> None:
        self._lines = lines
        self._broken_lines = broken_lines
        self.problems: list[Problem] = []

    def targets(self, document: dict[str, Any]) -> dict[str, Target]:
        """Targets by name. They hold only when `problems` is empty afterwards."""
        made = {}
        for name, value in document.items():
            if name == "schema":
                self._schema(value)
            elif not isinstance(value, dict):
                self._problem(
                    (name,),
                    f"unknown key {name!r}; outside of a target there is only schema, "
                    "and a target begins with its name: [name]",
                )
            elif not _NAME.fullmatch(name):
                self._problem(
                    (name,),
                    f"{name!r} cannot be a target's name; use up to 40 letters, digits, - and _",
                )
            else:
                made[name] = self._target(name, value)
        return made

    def _schema(self, value: object) -> None:
        if value is True or not isinstance(value, int) or value < 1:
            self._problem(("schema",), f"schema = {_shown(value)}: must be {SCHEMA}")
        elif value > SCHEMA:
            self._problem(
                ("schema",), f"schema = {value}: this file is of a newer version, this one knows {SCHEMA}"
            )

    def _target(self, name: str, table: dict[str, Any]) -> Target:
        path = (name,)
        live = table.get("live", {})
        if not isinstance(live, dict):
            self._problem((*path, "live"), f"live must be a table of limits: [{name}.live]")
            live = {}
        limits = self._limits(path, table, TARGET_KEYS, ("title", "source", "live"))
        live_limits = self._limits((*path, "live"), live, TARGET_KEYS[3:], ())
        # A key that is misspelt, or a line that is no TOML, was meant to be a limit.
        if not {*table} - {*TARGET_KEYS[:3]} and not live and not self._is_broken(name):
            self._problem(path, f"[{name}] has no limit; give one, such as true_peak_dbtp = {{ max = -1.0 }}")
        return Target(
            name=name,
            title=self._words(path, table, "title", name),
            source=self._words(path, table, "source", "your own"),
            limits=limits,
            live_limits=live_limits,
        )

    def _is_broken(self, name: str) -> bool:
        """Whether a line is missing from a target."""
        begins = self._lines[(name,)]
        others = (line for path, line in self._lines.items() if len(path) == 1 and line > begins)
        ends = min(others, default=None)
        return any(begins < line and (ends is None or line < ends) for line in self._broken_lines)

    def _words(self, path: KeyPath, table: dict[str, Any], key: str, otherwise: str) -> str:
        value = table.get(key, otherwise)
        if isinstance(value, str) and value.isprintable() and 0 < len(value) <= 200:
            return value
        self._problem((*path, key), f"{key} must be text of 1 to 200 printable characters, in quotes")
        return otherwise

    def _limits(
        self, path: KeyPath, table: dict[str, Any], known: tuple[str, ...], others: tuple[str, ...]
    ) -> dict[str, Limit]:
        limits = {}
        for key, value in table.items():
            if key in others:
                continue
            if key not in known:
                self._unknown((*path, key), known)
            elif key != BAND_TABLE:
                limits[key] = self._limit((*path, key), value, MEASURES[key])
            elif not isinstance(value, dict) or {*value} & {"min", "max"}:
                self._problem(
                    (*path, key),
                    f"{key} needs a band behind it, such as {key}.below_crossover; "
                    f"the bands are {', '.join(BANDS)}",
                )
            else:
                for band, limit in value.items():
                    if band not in BANDS:
                        self._unknown((*path, key, band), BANDS)
                    else:
                        whole = f"{key}.{band}"
                        limits[whole] = self._limit((*path, key, band), limit, MEASURES[whole])
        return limits

    def _limit(self, path: KeyPath, value: object, measure: Measure) -> Limit:
        if not isinstance(value, dict):
            self._problem(
                path,
                f"{path[-1]} = {_shown(value)}: must be {{ min = ..., max = ... }}, or one of the two",
            )
            return Limit()
        for key in value:
            if key not in ("min", "max"):
                self._unknown((*path, key), ("min", "max"))
        if not value:
            self._problem(path, f"{path[-1]} limits nothing; give min, max or both")
        low = self._number((*path, "min"), value.get("min"), measure)
        high = self._number((*path, "max"), value.get("max"), measure)
        if low is not None and high is not None and low > high:
            self._problem(path, f"{path[-1]}: min {low:g} is above max {high:g}; exchange them")
        return Limit(min=low, max=high)

    def _number(self, path: KeyPath, value: object, measure: Measure) -> float | None:
        if value is None:
            return None
        whole = ".".join(path[-2:])
        if isinstance(value, bool) or not isinstance(value, int | float):
            self._problem(path, f"{whole} = {_shown(value)}: must be a number, {measure.range_text()}")
            return None
        if not measure.lowest <= value <= measure.highest:
            self._problem(path, f"{whole} = {value}: must lie in {measure.range_text()}")
            return None
        return float(value)

    def _unknown(self, path: KeyPath, known: Iterable[str]) -> None:
        known = tuple(known)
        hint = nearest(path[-1], known) or f"; valid here: {', '.join(known)}"
        self._problem(path, f"unknown key {path[-1]!r}{hint}")

    def _problem(self, path: KeyPath, what: str) -> None:
        while path not in self._lines:  # a key that has no line of its own
            path = path[:-1]
        self.problems.append((self._lines[path], what))


def nearest(name: str, known: Iterable[str]) -> str:
    """The end of a sentence that names the nearest known word, or nothing."""
    found = difflib.get_close_matches(name.lower(), list(known), n=1, cutoff=0.6)
    return f"; did you mean {found[0]!r}?" if found else ""


def _shown(value: object) -> str:
    """A value about as the file has it, cut to a readable length."""
    text = str(value).lower() if isinstance(value, bool) else repr(value)
    return text if len(text) <= 40 else text[:37] + "..."
