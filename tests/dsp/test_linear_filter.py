"""The routine behind `scipy.signal.lfilter` gives the same bits, and there is a way without it."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest
import soundfile
from scipy import signal

from meter.dsp import linear_filter as module
from meter.dsp.linear_filter import filtered, linear_filter


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


def test_it_filters_from_rest_as_the_public_one_does():
    b, a, samples, _ = case(np.float64, 4)
    for some in (samples, samples[0]):
        assert filtered(b, a, some).tobytes() == signal.lfilter(b, a, some, axis=-1).tobytes()


def test_without_the_routine_the_public_one_serves(monkeypatch):
    b, a, samples, memory = case(np.float64, 4)
    quick = linear_filter(b, a, samples, memory)
    monkeypatch.setattr(module, "_run", module._public)
    plain = linear_filter(b, a, samples, memory)
    assert [part.tobytes() for part in quick] == [part.tobytes() for part in plain]


class Other:
    """A module whose routine does something else, or that has none."""

    def __init__(self, **names):
        vars(self).update(names)


@pytest.mark.parametrize(
    "other", [Other(_linear_filter=lambda *_: (np.zeros((1, 2)), np.zeros((1, 1)))), Other()]
)
def test_a_routine_that_has_gone_or_does_something_else_is_not_used(monkeypatch, other):
    assert module._routine() is not None
    monkeypatch.setattr(module, "_extension", lambda: other)
    assert module._routine() is None


def test_the_routine_is_loaded_without_the_package_around_it_and_does_not_hinder_it():
    """To import `scipy.signal` takes a second and 75 MB."""
    program = (
        "import sys, meter.chain\n"
        "from meter.dsp import linear_filter\n"
        "assert linear_filter._run is not linear_filter._public\n"
        "assert 'scipy.signal' not in sys.modules and 'scipy.stats' not in sys.modules\n"
        "from scipy import signal\n"
        "print(signal.lfilter([1.0], [1.0, -0.5], [1.0, 0.0]).tolist())\n"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[1.0, 0.5]"


def test_a_checked_file_needs_no_more_of_scipy_either(tmp_path):
    """Low end, kicks and all: what `check` loads is what every one of its worker processes loads."""
    path = tmp_path / "tone.wav"
    soundfile.write(path, 0.1 * np.sin(np.arange(24_000)[:, None] * np.array([0.008, 0.009])), 48_000)
    program = (
        "import sys\n"
        "from meter.cli import main\n"
        f"status = main(['check', {str(path)!r}])\n"
        "big = sorted({'scipy.signal', 'scipy.stats', 'scipy.optimize'} & set(sys.modules))\n"
        "assert (status, big) == (0, []), (status, big)\n"
    )
    subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
