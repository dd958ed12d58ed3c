"""Correlation, and what is lost when left and right are summed to mono, from three sums.

Everything here comes from the mean squares of left and right and their mean product, so it can
be worked out again for any part of a pass.
"""

from __future__ import annotations

import math
import sys
from typing import Final

from meter.units import power_to_db

FLOOR_DB: Final = -60.0
"""Shown no lower: an exact cancellation has no number."""


def correlation(ll: float, rr: float, lr: float) -> float | None:
    """Correlation of left and right, -1 … +1; None when a channel is silent.

    Source
    ------
    r = Σ L·R / √(Σ L² · Σ R²); general, no standard fixes a window. SEEN-S.
    """
    if ll <= 0.0 or rr <= 0.0:
        return None
    product = ll * rr
    # The root of a product of equal numbers is exact, so that opposite channels read -1; what is very faint
    # or very loud has no product.
    is_plain = sys.float_info.min <= product < math.inf
    r = lr / math.sqrt(product) if is_plain else lr / math.sqrt(ll) / math.sqrt(rr)
    return max(-1.0, min(1.0, r))


def fold_loss_db(ll: float, rr: float, lr: float) -> float | None:
    """Level lost in mono, ≤ 0 dB, not under `FLOOR_DB`; None in silence.

    10·log10(E[(L+R)²] / (2·E[L²+R²])): 0 for equal channels, -3.01 for unrelated or one-sided
    ones, the floor for opposite ones.

    Source
    ------
    Algebra; with equal levels it is 10·log10((1+r)/2), the mono-sum rule of the handbooks. CALC.
    """
    power = ll + rr
    if power <= 0.0:
        return None
    kept = (power + 2.0 * lr) / (2.0 * power)
    if kept <= 10.0 ** (FLOOR_DB / 10.0):
        return FLOOR_DB
    return min(0.0, power_to_db(kept))
