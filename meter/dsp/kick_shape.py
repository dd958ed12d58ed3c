"""How the parts of a moment are weighed when a kick is looked for.

Fitted, not published: a logistic regression over 2292 kicks and 7375 other beginnings (snares, bass notes,
breaks) in patterns of our own, made from synthetic drums and the samples of a free package;
``python -m tests.support.kick_fit`` works it out anew. It can be read: what rises between 100 and 400 Hz
within a moment speaks for a kick when it is gone 30 ms later and when 50 to 150 Hz stay behind; what stays
above 400 Hz speaks against it.
"""

from __future__ import annotations

from typing import Final

import numpy as np

SHAPE: Final = np.array(
    [
        (-0.011, -0.025, -0.073, -0.003, +0.029, +0.088, +0.091),
        (-0.007, -0.011, +0.003, +0.035, -0.012, +0.004, -0.044),
        (-0.014, -0.020, +0.016, -0.008, -0.028, -0.028, -0.004),
        (-0.008, -0.092, +0.004, +0.018, -0.016, +0.020, +0.015),
        (-0.011, -0.037, +0.083, +0.020, +0.073, -0.002, -0.035),
        (+0.013, -0.002, +0.107, +0.019, +0.043, +0.003, -0.058),
        (+0.005, +0.044, +0.041, +0.000, +0.014, -0.011, -0.061),
        (+0.004, +0.032, +0.041, -0.039, -0.021, -0.013, -0.051),
        (-0.003, +0.078, +0.026, -0.025, -0.022, -0.015, -0.016),
        (+0.007, +0.056, +0.020, -0.014, +0.003, +0.001, -0.030),
        (+0.044, +0.037, -0.042, -0.070, +0.003, -0.006, -0.029),
        (+0.004, -0.031, -0.067, -0.040, -0.016, +0.024, +0.054),
    ]
)
"""Rows: pieces of time (`MOMENTS` of `meter.dsp.kick_onsets`); columns: its seven bands. For each decibel."""

LEVEL_WEIGHT: Final = 0.673
"""For each decibel under the loudest lately, which is negative."""

BIAS: Final = -2.53
"""1.1 more than fitted: what looks half like a kick may be one where it is like those before it."""
