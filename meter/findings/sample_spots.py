"""Flat tops and drop-outs of soundings, near ones together."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np

from meter.dsp.flat_tops import FEWEST_FLAT, LONG_FRAMES
from meter.soundings import SOUNDINGS_A_SECOND, Soundings
from meter.units import amplitude_to_db

NEAR_SLOTS: Final = 30
"""What lies nearer than 3 s is one finding."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """Something in the soundings [start, stop), with what `Found` takes of it."""

    kind: str
    start: int
    stop: int
    more: dict[str, Any] = field(default_factory=dict)


def spots_in(rows: Soundings, first: int, rate_hz: float) -> Iterator[Spot]:
    """The spots of soundings, of which the first has the number `first`.

    What a sounding brought began and ended within 50 ms of its beginning, a drop-out by its length earlier.
    """
    for part in _groups(rows["flat_tops"]):
        chosen = rows[part]
        count, frames = int(chosen["flat_tops"].sum()), int(chosen["flat_frames"].max())
        if count >= FEWEST_FLAT or frames >= LONG_FRAMES:
            yield Spot(
                kind="flat tops",
                start=first + int(part[0]),
                stop=first + max(int(part[-1]), int(part[0]) + 1),
                more={
                    "count": count,
                    "frames": frames,
                    "severity": float(count * frames),
                    "peak_dbtp": amplitude_to_db(float(chosen["sample_peak"].max())),
                },
            )
    for part in _groups(rows["dropouts"]):
        chosen = rows[part]
        frames = int(chosen["dropout_frames"].sum())
        more = {"count": int(chosen["dropouts"].sum()), "frames": frames, "severity": float(frames)}
        length = round(SOUNDINGS_A_SECOND * int(chosen["dropout_frames"][0]) / rate_hz)
        start = max(first + int(part[0]) - length, 0)
        yield Spot(kind="drop-out", start=start, stop=max(first + int(part[-1]), start + 1), more=more)


def _groups(counts: Any) -> list[Any]:
    hits = np.flatnonzero(counts)
    if len(hits) == 0:
        return []
    return np.split(hits, np.flatnonzero(np.diff(hits) - 1 > NEAR_SLOTS) + 1)
