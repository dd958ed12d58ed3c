"""When the engine looks: on deliveries that are made up, in a time that is made up."""

import numpy as np
import pytest

from meter.pace import EARLIER_S, IDLE_S, LONGEST_S, SOON_S, Pace


class Deliveries:
    """A stream that comes in pieces, and who looks at it as `Pace` says, for 100 ms of sound at a time."""

    SOUNDING_S = 0.100

    def __init__(self, times_s, piece_s, *, look_takes_s=0.002):
        self.times_s, self.piece_s, self.look_takes_s = np.asarray(times_s), piece_s, look_takes_s
        self.now_s = 0.0
        self.pace = Pace(lambda: self.now_s)
        self.looks_s, self.told_s = [], []

    def run(self, seconds):
        told, wanted_s = 0, self.SOUNDING_S
        while self.now_s < seconds:
            self.looks_s.append(self.now_s)
            come_s = np.searchsorted(self.times_s, self.now_s, side="right") * self.piece_s
            is_met = come_s - told * self.SOUNDING_S > self.SOUNDING_S - 1e-9
            while come_s - told * self.SOUNDING_S > self.SOUNDING_S - 1e-9:
                told += 1
                self.told_s.append(self.now_s)
            wanted_s = (told + 1) * self.SOUNDING_S - come_s
            self.now_s += self.look_takes_s
            self.now_s += self.pace.wait_s(wanted_s, is_met=is_met)
        return self

    def late_s(self):
        """How long each sounding lay there before it was told."""
        ends_s = (np.arange(len(self.told_s)) + 1) * self.SOUNDING_S
        due = np.ceil(ends_s / self.piece_s - 1e-9).astype(int) - 1
        return np.array(self.told_s) - self.times_s[due]


def regular(seconds, piece_s, *, first_s=0.0371, jitter_s=0.0):
    times = first_s + np.arange(round(seconds / piece_s)) * piece_s
    return times + np.random.default_rng(1).uniform(0.0, jitter_s, len(times))


@pytest.mark.parametrize("first_s", [0.001, 0.013, 0.0371, 0.049])
@pytest.mark.parametrize("piece_s", [0.010, 0.025])
def test_it_looks_ten_times_a_second_and_right_behind_the_deliveries(first_s, piece_s):
    seen = Deliveries(regular(60.0, piece_s, first_s=first_s), piece_s).run(50.0)
    assert len([look for look in seen.looks_s if look > 10.0]) / 40.0 < 11.0
    assert np.median(seen.late_s()) < SOON_S
    assert seen.late_s()[100:].max() < 0.012


def test_deliveries_that_are_not_on_time_cost_few_looks_more():
    seen = Deliveries(regular(60.0, 0.025, jitter_s=0.006), 0.025).run(50.0)
    assert len(seen.looks_s) / 50.0 < 13.0
    assert seen.late_s()[20:].max() < 0.020


def test_what_was_late_once_is_made_up_for():
    times = regular(60.0, 0.025)
    stall = (times > 10.0) & (times < 10.2)
    times[stall] = 10.2
    seen = Deliveries(times, 0.025).run(50.0)
    assert np.median(seen.late_s()[300:]) < SOON_S


def test_long_deliveries_are_found_soon_for_as_many_looks_as_short_ones_would_take():
    seen = Deliveries(regular(60.0, 8192 / 48_000), 8192 / 48_000).run(50.0)
    assert len(seen.looks_s) / 50.0 < 42.0
    assert seen.late_s().max() <= IDLE_S + 0.003


def test_where_nothing_comes_it_looks_forty_times_a_second_at_most():
    seen = Deliveries([], 0.025).run(10.0)
    assert len(seen.looks_s) < 400
    assert np.diff(seen.looks_s).max() < LONGEST_S


def test_it_looks_a_little_earlier_each_time():
    now = [5.0]
    pace = Pace(lambda: now[0])
    assert pace.wait_s(0.05, is_met=True) == pytest.approx(0.05)
    now[0] += 0.053  # woken late: the line stands where it was
    assert pace.wait_s(0.05, is_met=True) == pytest.approx(0.047 - EARLIER_S)
    now[0] += 1.0  # stood still
    assert pace.wait_s(0.05, is_met=True) == pytest.approx(0.05)
    now[0] += 0.05
    assert pace.wait_s(0.025, is_met=False) == pytest.approx(SOON_S)
    now[0] += SOON_S
    assert pace.wait_s(0.025, is_met=False) == pytest.approx(IDLE_S)
