"""`scipy.signal.lfilter` along the last axis, without what it looks at in every call.

Live, seven short filters run ten times a second, and scipy's checks of their arguments take three times
as long as the filters. The routine behind them is not public: where a release of scipy has moved it, the
public one does the same.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import signal

Array = npt.NDArray[Any]


def _routine() -> Callable[..., tuple[Array, Array]] | None:
    try:
        from scipy.signal import _sigtools

        run: Callable[..., tuple[Array, Array]] = _sigtools._linear_filter
        ones = np.ones((1, 2))
        out, memory = run(np.ones(2), np.array([1.0, 0.5]), ones, -1, np.zeros((1, 1)))
        is_same = out.tolist() == [[1.0, 1.5]] and memory.tolist() == [[0.25]]
    except Exception:
        return None
    return run if is_same else None


_RUN = _routine()


def linear_filter(b: Array, a: Array, samples: Array, memory: Array) -> tuple[Array, Array]:
    """Filter along the last axis.

    Parameters
    ----------
    b, a : ndarray, shape (order + 1,)
        Of one length and type, ``a[0]`` = 1.
    samples : ndarray, shape (channels, n)
        Of the same type, n >= 1.
    memory : ndarray, shape (channels, order)
        As `scipy.signal.lfilter` takes and gives it.

    Returns
    -------
    out, memory : ndarray
    """
    if _RUN is None:
        out, memory = signal.lfilter(b, a, samples, axis=-1, zi=memory)
        return out, memory
    return _RUN(b, a, samples, -1, memory)
