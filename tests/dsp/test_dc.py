"""The constant part of a signal."""

import numpy as np
import pytest

from meter.dsp.dc import sums
from meter.passes import measure
from tests.support.sound import tone


def test_sums_are_those_of_each_block_and_channel():
    planar = np.arange(12.0, dtype=np.float32).reshape(2, 6)
    assert sums(planar, blocks=2).tolist() == [[3.0, 21.0], [12.0, 30.0]]


@pytest.mark.parametrize("offset", [0.0, 0.02, -0.3])
def test_the_dc_of_a_pass_is_its_mean(offset):
    made = measure(tone(50.0, 2.0, offset=offset), rate_hz=48_000)
    assert made.dc_offset == pytest.approx((offset, offset), abs=1e-6)
