"""The lanes of a report as SVG inside the page: no script, sharp on every screen and on paper."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from html import escape
from typing import Final

import numpy as np

from meter.report.series import COLUMNS, Curve, Curves
from meter.soundings import as_text_time
from meter.targets import Limit, Target
from meter.tunes.listed import ListedTune
from meter.tunes.words import clock

COLUMN: Final = 0.5
WIDTH: Final = COLUMN * COLUMNS
LANE: Final = 60
LEFT: Final = 26
TOP: Final = 18
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


def lanes(curves: Curves, target: Target | None, tunes: Sequence[ListedTune]) -> str:
    """All lanes below each other, as one SVG."""
    drawn: list[tuple[str, Curve, Scale, str, Limit | None]] = [
        ("How loud? S, LUFS", curves.short_term_lufs, LOUD, "a", _limit(target, "loudest_30s_lufs")),
        ("Any overs? true peak, dBTP", curves.true_peak_dbtp, PEAK, "b", _limit(target, "true_peak_dbtp")),
    ]
    if curves.correlation is not None and curves.lost_db is not None:
        drawn.append(("Left and right? r", curves.correlation, SIDES, "c", _limit(target, "correlation")))
        lost = _limit(target, "fold_loss_db.below_crossover")
        drawn.append(("Lost in mono? below the crossover, dB", curves.lost_db, LOST, "d", lost))
    height = len(drawn) * (LANE + TOP) + 20
    parts = [
        f'<svg viewBox="0 0 {LEFT + WIDTH + 6:g} {height}" role="img" aria-label="Lanes of the whole pass" '
        'xmlns="http://www.w3.org/2000/svg">'
    ]
    for index, (title, curve, scale, look, limit) in enumerate(drawn):
        overs = curves.over_columns if look == "b" else ()
        parts.append(f'<g transform="translate({LEFT} {index * (LANE + TOP) + TOP})">')
        parts += [_furniture(title, scale), _band(limit, scale), _tune_lines(tunes, curves.seconds)]
        parts += [_curve(curve, scale, look), _overs(overs), "</g>"]
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


def _curve(curve: Curve, scale: Scale, look: str) -> str:
    """A bar from the lowest to the highest of each column, as far as its neighbour where that lies apart."""
    parts = []
    known = np.flatnonzero(np.isfinite(curve.high))
    before = (-2, 0.0, 0.0)
    for column in known.tolist():
        upper, lower = scale.y(float(curve.high[column])), scale.y(float(curve.low[column]))
        own = column, upper, lower
        if before[0] == column - 1:
            upper, lower = min(upper, before[2]), max(lower, before[1])
        before = own
        parts.append(f"M{(column + 0.5) * COLUMN:g} {upper:.1f}V{max(lower, upper + 0.9):.1f}")
    return f'<path class="curve {look}" d="{"".join(parts)}"/>' if parts else ""


def _overs(columns: Sequence[int]) -> str:
    marks = "".join(f"M{column * COLUMN - 2:g} 0h4l-2 4z" for column in columns)
    return f'<path class="over" d="{marks}"/>' if marks else ""


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
        f'<text class="small" x="{x:.1f}" y="{y:g}" text-anchor="{_anchor(k)}">{form(k * step)}</text>'
        for k, x in places
    )


_STEPS: Final = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200)


def _anchor(index: int) -> str:
    return "start" if index == 0 else "middle"
