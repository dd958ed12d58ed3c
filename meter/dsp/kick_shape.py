"""How the parts of a moment are weighed when a kick is looked for: a small network.

Fitted, not published: 24 hidden units (tanh) over the 84 numbers of `meter.dsp.kick_onsets.shapes_of` and the
level, trained with known kicks (synthetic, and samples of a free package) among snares, breaks and bass, and
with bass lines that hold no drum at all; ``python -m tests.support.kick_fit`` works it out anew and writes
``meter/data/kick_shape.npy``. One straight weighing of the same numbers took every third note of a bare bass
for a kick, or missed twice as many.
"""

from __future__ import annotations

from functools import lru_cache
from importlib import resources
from typing import Final

import numpy as np

from meter.units import Floats

UNITS: Final = 24
SUREST: Final = 6.0
LEAST_SURE: Final = -12.0
"""Beyond these a score says nothing more."""
EAGER: Final = 1.5
"""Added to every score: what looks half like a kick may be one where it is like those before it."""


@lru_cache(maxsize=1)
def weights() -> tuple[Floats, Floats, Floats, float]:
    """Of the inputs, shape (inputs, UNITS); added to the units; of the units; added to the sum."""
    with resources.files("meter").joinpath("data/kick_shape.npy").open("rb") as file:
        flat = np.load(file).astype(np.float64)
    inputs = (len(flat) - 1) // UNITS - 2
    first, second = inputs * UNITS, (inputs + 1) * UNITS
    return flat[:first].reshape(inputs, UNITS), flat[first:second], flat[second:-1], float(flat[-1])


def scores_of(numbers: Floats) -> Floats:
    """Natural logarithm of how much likelier each moment is a kick than none, plus `EAGER`.

    Parameters
    ----------
    numbers : ndarray, shape (n, inputs)
        Levels of the parts of the moment in dB, and that of the whole under the loudest lately.
    """
    into, units, out, added = weights()
    score = np.tanh(numbers @ into + units) @ out + added
    return np.asarray(np.clip(score, LEAST_SURE, SUREST) + EAGER, np.float64)
