"""What is shown of a reading, in a terminal as in the window: which numbers, how, and with which verdict."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from meter.music_sentences import LOUDNESS_KEYS, short_term_ceiling_lufs
from meter.now import Now
from meter.soundings import Reading
from meter.targets import MEASURES, SHORT_TERM_KEY, Limit, Target, Verdict, value_text, verdict_on
from meter.units import amplitude_to_db

NOT_KNOWN: Final = "--"

FOLD: Final = "fold_loss_db."
BELOW: Final = f"{FOLD}below_crossover"

_PASSING: Final = (SHORT_TERM_KEY, "momentary_lufs", "correlation")
"""True of this moment only, as what is lost in mono is: nothing when nothing is heard."""

SIGNED: Final = ("true_peak_dbtp",)
"""Shown with a plus above 0."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """A number as it is shown.

    Attributes
    ----------
    text : str
        Without its unit; `NOT_KNOWN` where there is none.
    verdict : Verdict or None
        None where nothing is asked of it, or verdicts are withheld; what is not shown is not judged. S
        can only be over: under what is wanted of the whole it is neither that nor inside.
    """

    text: str = NOT_KNOWN
    verdict: Verdict | None = None


def shown(now: Now, key: str) -> Shown:
    """What is shown of a measure.

    Parameters
    ----------
    key : str
        As in `meter.targets.MEASURES`, "momentary_lufs", or "fold_loss_db." and a band.
    """
    value = number(now, key)
    if value is None:
        return Shown()
    decimals = MEASURES[key].decimals if key in MEASURES else 1
    verdict, limit = now.verdicts.get(key), _limit(now, key)
    text = value_text(value, decimals=decimals, limit=limit, plus=key in SIGNED)
    if (now.has_ended or now.is_between) and verdict is Verdict.NOT_YET and limit is not None:
        verdict = verdict_on(value, limit)  # nothing more will come to it
    if key == SHORT_TERM_KEY and verdict is Verdict.INSIDE and _is_under(now.target, value):
        verdict = None
    return Shown(text=text, verdict=verdict)


def number(now: Now, key: str) -> float | None:
    """The number itself; None where it is not known, or no longer true."""
    if now.reading is None or (not now.is_heard and (key in _PASSING or key.startswith(FOLD))):
        return None
    return _read(now.reading, key)


def recent_peak(now: Now) -> str:
    """Highest true peak of the newest 3 s."""
    if not now.is_heard or len(now.recent) == 0:
        return NOT_KNOWN
    return value_text(amplitude_to_db(float(now.recent["true_peak"].max())), plus=True)


def overs_unit(count: float) -> str:
    """What so many are called."""
    return "over" if count == 1 else "overs"


def loudness_limit(target: Target | None) -> tuple[str, Limit] | None:
    """The measure of loudness that a target asks first of what is heard live, and its limit."""
    limits = {} if target is None else target.limits_for(live=True)
    return next(((key, limits[key]) for key in LOUDNESS_KEYS if key in limits), None)


def _is_under(target: Target | None, value: float) -> bool:
    asked = loudness_limit(target)
    return asked is not None and asked[1].min is not None and value < asked[1].min


def _limit(now: Now, key: str) -> Limit | None:
    """What a value is held against, when it is."""
    if now.target is None or key not in now.verdicts:
        return None
    if key == SHORT_TERM_KEY:
        return Limit(max=short_term_ceiling_lufs(now.target))
    return now.target.limits_for(live=True).get(key)


def _read(reading: Reading, key: str) -> float | None:
    if key.startswith(FOLD):
        return reading.fold_loss_3s_db.get(key.removeprefix(FOLD))
    if key == "true_peak_dbtp":
        return max(reading.true_peak_max_dbtp, default=None)
    value: float | None = reading.correlation_3s if key == "correlation" else getattr(reading, key)
    return value
