"""The lanes of a report as SVG inside the page: no script, sharp on every screen and on paper."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from html import escape
from typing import Final

import numpy as np

from meter.report.material import Material
from meter.report.series import COLUMNS, Curve, Curves, curves_of
from meter.soundings import as_text_time
from meter.targets import Limit, Target
from meter.tunes.listed import ListedTune
from meter.tunes.words import clock
from meter.units import Floats

WIDTH: Final = 0.5 * COLUMNS
LANE: Final = 60
LEFT: Final = 26
TOP: Final = 18
MARK_WIDTH: Final = 4.0
"""In units of the picture: about a pixel on a phone, two and a half on a desk."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """From a value to a height: `top` is drawn at 0."""

    top: float
    bottom: float
    steps: tuple[float, ...]

    def y(self, value: float) -> float:
        """Pixels below the top of the lane."""
        share = (self.top - value) / (self.top - self.bottom)
        return LANE * min(max(share, 0.0), 1.0)


LOUD: Final = Scale(top=0.0, bottom=-36.0, steps=(-6.0, -12.0, -24.0))
PEAK: Final = Scale(top=3.0, bottom=-24.0, steps=(0.0, -6.0, -12.0))
SIDES: Final = Scale(top=1.0, bottom=-1.0, steps=(1.0, 0.0, -1.0))
LOST: Final = Scale(top=0.0, bottom=-12.0, steps=(0.0, -3.0, -6.0))


def drawn_lanes(material: Material) -> str:
    """All lanes of a pass; in a short one a column is no shorter than a sounding."""
    curves = curves_of(material, columns=min(COLUMNS, max(len(material.rows), 1)))
    return lanes(curves, material.target, material.tunes)


def lanes(curves: Curves, target: Target | None, tunes: Sequence[ListedTune]) -> str:
    """All lanes below each other, as one SVG."""
    drawn: list[tuple[str, Curve, Scale, str, Limit | None]] = [  # those of "a" and "b" matter at their top
        ("How loud? S, LUFS", curves.short_term_lufs, LOUD, "a", _limit(target, "loudest_30s_lufs")),
        ("Any overs? true peak, dBTP", curves.true_peak_dbtp, PEAK, "b", _limit(target, "true_peak_dbtp")),
    ]
    if curves.correlation is not None and curves.lost_db is not None:
        drawn.append(("Left and right? r", curves.correlation, SIDES, "c", _limit(target, "correlation")))
        lost = _limit(target, "fold_loss_db.below_crossover")
        drawn.append(("Lost in mono? below the crossover, dB", curves.lost_db, LOST, "d", lost))
    columns = len(curves.short_term_lufs.high)
    height = len(drawn) * (LANE + TOP) + 20
    parts = [
        f'<svg viewBox="0 0 {LEFT + WIDTH + 6:g} {height}" role="img" aria-label="Lanes of the whole pass" '
        'xmlns="http://www.w3.org/2000/svg">'
    ]
    for index, (title, curve, scale, look, limit) in enumerate(drawn):
        overs = [WIDTH * (at + 0.5) / columns for at in curves.over_columns] if look == "b" else []
        parts.append(f'<g transform="translate({LEFT} {index * (LANE + TOP) + TOP})">')
        parts += [_furniture(title, scale), _band(limit, scale), _tune_lines(tunes, curves.seconds)]
        edge = curve.high if look in "ab" else curve.low
        parts += [_area(curve, scale, look), _line(curve, edge, scale, look)]
        parts += [_overs(overs), "</g>"]
    parts += [_axis(curves.seconds, height - 8), "</svg>"]
    return "".join(parts)


def _limit(target: Target | None, key: str) -> Limit | None:
    return None if target is None else target.limits.get(key)


def _furniture(title: str, scale: Scale) -> str:
    lines = "".join(
        f'<path class="grid" d="M0 {scale.y(step):.1f}H{WIDTH:g}"/>'
        f'<text class="small" x="-4" y="{scale.y(step) + 3:.1f}" text-anchor="end">{step:g}</text>'
        for step in scale.steps
    )
    ground = f'<rect class="lane" width="{WIDTH:g}" height="{LANE}"/>'
    return f'<text class="ask" x="0" y="-5">{escape(title)}</text>{ground}{lines}'


def _band(limit: Limit | None, scale: Scale) -> str:
    if limit is None:
        return ""
    upper = 0.0 if limit.max is None else scale.y(limit.max)
    lower = float(LANE) if limit.min is None else scale.y(limit.min)
    return f'<rect class="band" y="{upper:.1f}" width="{WIDTH:g}" height="{max(lower - upper, 1.0):.1f}"/>'


def _runs(curve: Curve) -> list[np.ndarray]:
    """The columns in which something is known, those that touch together."""
    known = np.flatnonzero(np.isfinite(curve.high))
    return np.split(known, np.flatnonzero(np.diff(known) > 1) + 1) if len(known) else []


def _points(values: Floats, columns: np.ndarray, scale: Scale) -> list[str]:
    wide = WIDTH / len(values)
    return [f"{(at + 0.5) * wide:.2f} {scale.y(float(values[at])):.1f}" for at in columns.tolist()]


def _area(curve: Curve, scale: Scale, look: str) -> str:
    """From the lowest to the highest of each column."""
    parts = []
    for columns in _runs(curve):
        there = _points(curve.high, columns, scale) + _points(curve.low, columns[::-1], scale)
        parts.append(f"M{'L'.join(there)}z")
    return f'<path class="range r{look}" d="{"".join(parts)}"/>' if parts else ""


def _line(curve: Curve, values: Floats, scale: Scale, look: str) -> str:
    """Along the highest, or the lowest, of each column."""
    parts = [f"M{'L'.join(_points(values, columns, scale))}h.5" for columns in _runs(curve)]
    return f'<path class="curve {look}" d="{"".join(parts)}"/>' if parts else ""


def _overs(places: Sequence[float]) -> str:
    """A triangle for each; a bar where they would lie over one another."""
    marks, at = [], 0
    while at < len(places):
        last = at
        while last + 1 < len(places) and places[last + 1] - places[last] < MARK_WIDTH:
            last += 1
        left, right = places[at], places[last]
        first, stop = max(left - MARK_WIDTH / 2, 0.0), min(right + MARK_WIDTH / 2, WIDTH)
        marks.append(f"M{first:.1f} 0H{stop:.1f}L{right:.1f} {MARK_WIDTH:g}H{left:.1f}z")
        at = last + 1
    return f'<path class="over" d="{"".join(marks)}"/>' if marks else ""


def _tune_lines(tunes: Sequence[ListedTune], seconds: float) -> str:
    places = [WIDTH * tune.start_s / seconds for tune in tunes if tune.start_s > 0.0]
    lines = "".join(f"M{place:.1f} 0V{LANE}" for place in places)
    return f'<path class="tune" d="{lines}"/>' if lines else ""


def _axis(seconds: float, y: float) -> str:
    step = next((step for step in _STEPS if seconds / step <= 7), _STEPS[-1])
    form: Callable[[float], str] = clock if step >= 1 else as_text_time
    count = int(seconds / step)
    places = [(k, LEFT + WIDTH * k * step / seconds) for k in range(count + 1)]
    return "".join(
        f'<text class="small" x="{x:.1f}" y="{y:g}" text-anchor="{_anchor(x)}">{form(k * step)}</text>'
        for k, x in places
    )


_STEPS: Final = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200)


_HALF_TIME: Final = 22.0
"""Half of 8:88:88, in units of the picture."""


def _anchor(x: float) -> str:
    """So that no time is cut off at an end."""
    if x <= LEFT:
        return "start"
    return "end" if x > LEFT + WIDTH - _HALF_TIME + 6 else "middle"
