"""The routine behind `scipy.signal.lfilter` gives the same bits, and there is a way without it."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from meter.dsp import linear_filter as module
from meter.dsp.linear_filter import linear_filter


def case(kind: type, order: int) -> tuple[np.ndarray, ...]:
    rng = np.random.default_rng(order)
    a = np.concatenate([[1.0], rng.uniform(-0.4, 0.4, order) / order]).astype(kind)
    b = rng.uniform(-1.0, 1.0, order + 1).astype(kind)
    return b, a, rng.standard_normal((2, 150)).astype(kind), rng.standard_normal((2, order)).astype(kind)


@pytest.mark.parametrize("kind", [np.float64, np.complex128])
@pytest.mark.parametrize("order", [1, 4, 8])
def test_it_gives_the_bits_of_the_public_one(kind, order):
    b, a, samples, memory = case(kind, order)
    out, after = linear_filter(b, a, samples, memory)
    wanted, wanted_after = signal.lfilter(b, a, samples, axis=-1, zi=memory)
    assert out.tobytes() == wanted.tobytes()
    assert after.tobytes() == wanted_after.tobytes()


def test_without_the_routine_the_public_one_serves(monkeypatch):
    b, a, samples, memory = case(np.float64, 4)
    quick = linear_filter(b, a, samples, memory)
    monkeypatch.setattr(module, "_RUN", None)
    plain = linear_filter(b, a, samples, memory)
    assert [part.tobytes() for part in quick] == [part.tobytes() for part in plain]


def test_a_routine_that_has_gone_or_does_something_else_is_not_used(monkeypatch):
    from scipy.signal import _sigtools

    assert module._routine() is not None
    monkeypatch.setattr(_sigtools, "_linear_filter", lambda *_: (np.zeros((1, 2)), np.zeros((1, 1))))
    assert module._routine() is None
    monkeypatch.delattr(_sigtools, "_linear_filter")
    assert module._routine() is None
