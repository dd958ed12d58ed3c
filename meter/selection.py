"""Any part of a pass measured again from its soundings: a stretch, all but some, one at another gain.

Powers and peaks of a sounding are those of its own 100 ms, so a part gives the numbers that the same
sound would give alone. Where something is left out no gating block reaches over the cut.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from meter.soundings import AFTER_GAP, SOUNDING, Soundings, Summary, empty_soundings
from meter.units import db_to_amplitude, db_to_power

Span = tuple[int, int]
"""Soundings [start, stop) of a pass."""

_NAMES_OF_I: Final = ("start_frame", "frames", "flags", "nonfinite", "k_power")
_OF_I: Final = np.dtype([(name, SOUNDING[name]) for name in _NAMES_OF_I])

_POWERS: Final = ("k_power", "momentary_max", "short_term_max", "ll", "rr", "lr")
_AMPLITUDES: Final = ("true_peak", "sample_peak", "dc")


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """The soundings of a pass, or of some of it, and how they were taken."""

    rows: Soundings
    rate_hz: int
    channels: int
    weights: Sequence[float]

    def summary(self) -> Summary:
        """Its numbers."""
        from meter.passes import summarise

        return summarise(self.rows, rate_hz=self.rate_hz, channels=self.channels, weights=self.weights)

    def integrated_lufs(self) -> float | None:
        """Its I alone, which is quicker."""
        from meter.passes import integrated_of

        return integrated_of(self.rows, self.weights)

    def _with(self, rows: Soundings) -> Part:
        return Part(rows=rows, rate_hz=self.rate_hz, channels=self.channels, weights=self.weights)

    def selected(self, start: int, stop: int) -> Part:
        """The soundings [start, stop) alone."""
        return self._with(self.rows[start:stop])

    def without(self, spans: Iterable[Span]) -> Part:
        """All but some stretches."""
        is_kept = np.ones(len(self.rows), np.bool_)
        for start, stop in spans:
            is_kept[max(start, 0) : stop] = False
        if not is_kept.any():
            return self._with(empty_soundings())
        rows = self.rows[is_kept]
        begins = np.diff(is_kept, prepend=is_kept[:1]) & is_kept
        rows["flags"][begins[is_kept]] |= AFTER_GAP
        return self._with(rows)

    def integrated_without(self, spans: Iterable[Span]) -> float | None:
        """I of all but some stretches, without a copy of everything else: hours need not fit twice."""
        few = np.empty(len(self.rows), _OF_I)
        for name in _NAMES_OF_I:
            few[name] = self.rows[name]
        return self._with(few).without(spans).integrated_lufs()

    def at_gain(self, span: Span, gain_db: float) -> Part:
        """With one stretch louder or quieter. Its maxima of M and S go along, though they reach before it."""
        rows = self.rows.copy()
        chosen = slice(*span)
        for name in _POWERS:
            rows[name][chosen] *= np.float32(db_to_power(gain_db))
        for name in _AMPLITUDES:
            rows[name][chosen] *= np.float32(db_to_amplitude(gain_db))
        return self._with(rows)
