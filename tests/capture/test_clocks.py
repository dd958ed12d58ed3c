"""The clock of this machine. Source: clock_gettime(2)."""

import time

import pytest

from meter.capture.clocks import SystemClock


def test_it_goes_forward_as_the_monotonic_clock_does():
    clock = SystemClock()
    outer_start_s = time.monotonic()
    start_s = clock.now_s()
    inner_start_s = time.monotonic()
    time.sleep(0.02)
    inner_s = time.monotonic() - inner_start_s
    passed_s = clock.now_s() - start_s
    outer_s = time.monotonic() - outer_start_s
    assert inner_s - 1e-4 <= passed_s <= outer_s + 1e-4


def test_sleep_does_not_grow_while_the_machine_is_awake():
    clock = SystemClock()

    def asleep_s():
        return max(clock.asleep_s() for _ in range(10))

    first_s = asleep_s()
    assert first_s >= -1e-3
    time.sleep(0.02)
    assert asleep_s() == pytest.approx(first_s, abs=1e-3)
