"""Samples that are no numbers are replaced by 0 and marked; all others stay as they are."""

from __future__ import annotations

import numpy as np
import pytest

from meter.dsp.samples import LARGEST, clean


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf, 1e30, -1e30, 2.0 * LARGEST])
def test_what_is_no_sample_is_replaced_and_marked(bad):
    frames = np.array([[0.5, -0.5], [bad, 0.25], [1.0, bad]], np.float32)
    marked = clean(frames)
    np.testing.assert_array_equal(marked, [[False, False], [True, False], [False, True]])
    np.testing.assert_array_equal(frames, np.array([[0.5, -0.5], [0.0, 0.25], [1.0, 0.0]], np.float32))


def test_samples_stay_as_they_are():
    frames = np.array([[0.0, -1.0, 1.5, 1e-40, -LARGEST / 2.0]], np.float32)
    before = frames.copy()
    assert clean(frames) is None
    np.testing.assert_array_equal(frames, before)
