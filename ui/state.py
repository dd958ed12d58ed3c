"""What the window remembers from one start to the next, in `window.toml` of the settings folder.

The file is validated whole and every problem is named at once. One that has problems is set
aside under another name and never overwritten; the window starts with what it knows by itself.
"""

from __future__ import annotations

import json
import logging
import math
import os
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any, Final

from meter.arrangements import ARRANGEMENTS
from meter.delivery.choices import DEFAULT_WISHES, LOUDEST_LUFS, OWN_LUFS, QUIETEST_LUFS
from meter.errors import SettingsError
from meter.exposure.lanes import BREAK_RANGE_MIN
from meter.low_end.settings import A4_RANGE_HZ, CROSSOVER_HZ, KICK_BAND_HZ, KICK_RANGE_HZ
from meter.set_settings import MIXER_ZERO_DBFS, MIXER_ZERO_RANGE_DBFS
from meter.settings import WINDOW_FILE, folders
from meter.standards.iso_16_1975 import A4_HZ
from meter.target_reader import nearest

LOG: Final = logging.getLogger("ui.state")

FILE_NAME: Final = WINDOW_FILE
SCHEMA: Final = 1

THEMES: Final = ("system", "light", "dark", "night")
VIEWS: Final = ("60 s", "10 min", "pass", "session")

BPM_RANGE: Final = (40.0, 300.0)
DOWNBEAT_RANGE_S: Final = (0.0, 3600.0)
LONGEST_TEXT: Final = 4000
MOST_BYTES: Final = 100_000
MOST_KEPT_ASIDE: Final = 100


@dataclass(frozen=True, slots=True, kw_only=True)
class Choices:
    """What the user chose.

    Attributes
    ----------
    source : str
        As `meter.capture.open` takes it.
    target : str
        A target's name; empty for none.
    theme : str
        One of `THEMES`; "system" follows the system.
    view : str
        One of `VIEWS`.
    arrangement : str
        Key of one of `meter.arrangements.ARRANGEMENTS`.
    large : bool
        Flags that can be read across the room.
    compact : bool
        The small form was open at last.
    bpm, downbeat_s : float
        Tempo and first downbeat for the fold by phrase; a bpm of 0 is none.
    geometry, compact_geometry : str
        Places of the two windows, as Qt writes them, in hexadecimal digits; empty for none.
    a4_hz, key, kick_low_hz, kick_high_hz, crossover_hz : float, str
        What the low end is held against; an empty key is none.
    mixer_zero_dbfs : float
        Where the user's mixer reads 0.
    ear_setup : str
        What the source feeds, by the name of its setup; empty for not said.
    ear_reminders, ear_break_min : bool, float
        Whether marks of exposure and breaks are told, and after how long a break is; 0 is never.
    folder : str
        Where files were opened at last; empty for none.
    encoders : str
        That files are tried with, as `check --encode` takes them.
    playback_own_lufs, playback_turns_up : float, bool
        A level of the user's own that players bring music to, and whether they turn up what is quieter.
    """

    source: str = "system"
    target: str = "club"
    theme: str = "system"
    view: str = "60 s"
    arrangement: str = ARRANGEMENTS[0].key
    large: bool = False
    compact: bool = False
    bpm: float = 0.0
    downbeat_s: float = 0.0
    geometry: str = ""
    compact_geometry: str = ""
    folder: str = ""
    a4_hz: float = A4_HZ
    key: str = ""
    kick_low_hz: float = KICK_BAND_HZ[0]
    kick_high_hz: float = KICK_BAND_HZ[1]
    crossover_hz: float = CROSSOVER_HZ
    mixer_zero_dbfs: float = MIXER_ZERO_DBFS
    ear_setup: str = ""
    ear_reminders: bool = True
    ear_break_min: float = 60.0
    encoders: str = DEFAULT_WISHES
    playback_own_lufs: float = OWN_LUFS
    playback_turns_up: bool = True


# --- what each may be; a function gives what was expected, or None when all is well


def _text(value: object) -> str | None:
    is_fit = isinstance(value, str) and len(value) <= LONGEST_TEXT and value.isprintable()
    return None if is_fit else f'expected text of at most {LONGEST_TEXT} characters, such as "system"'


def _one_of(*allowed: str) -> Callable[[object], str | None]:
    expected = "expected one of " + ", ".join(f'"{one}"' for one in allowed)
    return lambda value: None if value in allowed else expected


def _switch(value: object) -> str | None:
    return None if isinstance(value, bool) else "expected true or false"


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _bpm(value: object) -> str | None:
    lowest, highest = BPM_RANGE
    is_fit = _is_number(value) and (value == 0 or lowest <= float(value) <= highest)  # type: ignore[arg-type]
    return None if is_fit else f"expected 0 for none, or {lowest:g} to {highest:g} beats a minute"


def _downbeat(value: object) -> str | None:
    lowest, highest = DOWNBEAT_RANGE_S
    is_fit = _is_number(value) and lowest <= float(value) <= highest  # type: ignore[arg-type]
    return None if is_fit else f"expected {lowest:g} to {highest:g} s"


def _between(lowest: float, highest: float, unit: str) -> Callable[[object], str | None]:
    def check(value: object) -> str | None:
        is_fit = _is_number(value) and lowest <= float(value) <= highest  # type: ignore[arg-type]
        return None if is_fit else f"expected {lowest:g} to {highest:g} {unit}"

    return check


def _digits(value: object) -> str | None:
    is_fit = isinstance(value, str) and len(value) <= LONGEST_TEXT and len(value) % 2 == 0
    is_fit = is_fit and all(digit in "0123456789abcdef" for digit in str(value))
    return None if is_fit else "expected pairs of hexadecimal digits"


CHECKS: Final[Mapping[str, Callable[[object], str | None]]] = {
    "source": _text,
    "target": _text,
    "theme": _one_of(*THEMES),
    "view": _one_of(*VIEWS),
    "arrangement": _one_of(*(one.key for one in ARRANGEMENTS)),
    "large": _switch,
    "compact": _switch,
    "bpm": _bpm,
    "downbeat_s": _downbeat,
    "geometry": _digits,
    "compact_geometry": _digits,
    "folder": _text,
    "a4_hz": _between(*A4_RANGE_HZ, "Hz"),
    "key": _text,
    "kick_low_hz": _between(*KICK_RANGE_HZ, "Hz"),
    "kick_high_hz": _between(*KICK_RANGE_HZ, "Hz"),
    "crossover_hz": _between(40.0, 300.0, "Hz"),
    "mixer_zero_dbfs": _between(*MIXER_ZERO_RANGE_DBFS, "dBFS"),
    "ear_setup": _text,
    "ear_reminders": _switch,
    "ear_break_min": _between(*BREAK_RANGE_MIN, "minutes"),
    "encoders": _text,
    "playback_own_lufs": _between(QUIETEST_LUFS, LOUDEST_LUFS, "LUFS"),
    "playback_turns_up": _switch,
}


_NUMBERS: Final = (
    "bpm",
    "downbeat_s",
    "a4_hz",
    "kick_low_hz",
    "kick_high_hz",
    "crossover_hz",
    "mixer_zero_dbfs",
    "ear_break_min",
    "playback_own_lufs",
)


# --- text and back


def as_toml(choices: Choices) -> str:
    """Text from which `parse` makes the same choices again."""
    lines = ["# What the window remembers. It writes this file by itself.", f"schema = {SCHEMA}"]
    for field in fields(choices):
        value = getattr(choices, field.name)
        # The escapes of JSON are among those of a TOML string.
        text = json.dumps(value, ensure_ascii=False) if isinstance(value, str) else _plain(value)
        lines.append(f"{field.name} = {text}")
    return "\n".join(lines) + "\n"


def _plain(value: float | bool) -> str:
    return str(value).lower() if isinstance(value, bool) else repr(float(value))


def parse(data: bytes) -> Choices:
    """Choices from a file's bytes.

    Raises
    ------
    SettingsError
        Every problem of it, on one line.
    """
    if len(data) > MOST_BYTES:
        raise SettingsError("it is larger than this file can be (100 kB)")
    try:
        document = tomllib.loads(data.decode("utf-8-sig"))
    except (ValueError, RecursionError) as error:
        raise SettingsError(f"it is no TOML ({str(error).splitlines()[0]})") from error
    schema = document.pop("schema", SCHEMA)
    if schema != SCHEMA:
        raise SettingsError(f"schema = {schema} came, this version of the program knows {SCHEMA}")
    problems = [what for key, value in document.items() if (what := _problem(key, value))]
    if problems:
        raise SettingsError("; ".join(problems))
    numbers = {key: float(document[key]) for key in _NUMBERS if key in document}
    return Choices(**{**document, **numbers})


def _problem(key: str, value: Any) -> str | None:
    check = CHECKS.get(key)
    if check is None:
        return f"unknown key '{key[:40]}'{nearest(key, CHECKS)}"
    expected = check(value)
    return None if expected is None else f"{key} = {str(value)[:40]}: {expected}"


# --- the file


class StateFile:
    """The file of remembered choices.

    Parameters
    ----------
    path : Path, optional
        In the settings folder unless given.

    Attributes
    ----------
    choices : Choices
        As loaded, and as last remembered.
    problem : str or None
        One sentence when the file cannot be used or written.
    """

    def __init__(self, path: Path | None = None) -> None:
        self.problem: str | None = None
        self._path = path
        self._may_write = True
        self.choices = Choices()
        try:
            self._path = folders().settings / FILE_NAME if path is None else path
            self.choices = parse(self._path.read_bytes())
        except FileNotFoundError:
            pass
        except SettingsError as error:
            self._set_aside(str(error))
        except OSError as error:
            self._give_up(f"{self._path} cannot be read ({error.strerror}); nothing is remembered this time")
        self._saved = self.choices

    def _set_aside(self, why: str) -> None:
        path = self._path
        if path is None:  # the settings folder itself is none
            self._give_up(f"{why}; nothing is remembered this time")
            return
        aside = self._free_name(path)
        try:
            if aside is None:
                raise OSError(0, "too many files like it")
            path.rename(aside)
        except OSError as error:
            self._give_up(f"{path} is not used: {why}; it cannot be set aside ({error.strerror}), "
                          "so nothing is remembered this time")  # fmt: skip
            return
        self.problem = f"{path} was not used and is now {aside.name}: {why}"
        LOG.warning("%s", self.problem)

    @staticmethod
    def _free_name(path: Path) -> Path | None:
        names = (path.with_name(f"{path.stem}.unused-{k}{path.suffix}") for k in range(1, MOST_KEPT_ASIDE))
        return next((name for name in names if not name.exists()), None)

    def _give_up(self, problem: str) -> None:
        self._may_write, self.problem = False, problem
        LOG.warning("%s", problem)

    def remember(self, **changes: Any) -> None:
        """Take over changed choices; they are written by `save`."""
        self.choices = replace(self.choices, **changes)

    def save(self) -> None:
        """Write what has changed; that it cannot be written is said once and ends nothing."""
        path = self._path
        if not self._may_write or path is None or self.choices == self._saved:
            return
        beside = path.with_name(path.name + ".new")
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            beside.write_text(as_toml(self.choices), "utf-8")
            os.replace(beside, path)
        except OSError as error:
            self._give_up(f"{path} cannot be written ({error.strerror}); nothing is remembered this time")
            return
        self._saved = self.choices
